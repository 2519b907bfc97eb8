from math import comb

import numpy as np
import pandas as pd
import pytest
from scipy.stats import fisher_exact

from analytics.early.two_by_two import counts_alone, two_by_two
from analytics.installs.checklist import DEFECTS


def compared(a, b, c, d):
    return two_by_two(failed=a, sound=b, failed_without=c, sound_without=d)


def test_poor_and_good_installs_against_sums_by_hand():
    # 6 of 10 against 4 of 40: relative risk 6.0, odds ratio 13.5, two-sided p .0019872,
    # arithmetic; here summed over the hypergeometric ways, independent of scipy
    found = compared(6, 4, 4, 36)
    ways = [comb(10, k) * comb(40, 10 - k) for k in range(11)]
    p = sum(way for way in ways if way <= ways[6]) / comb(50, 10)
    assert p == pytest.approx(0.0019872, abs=5e-8)
    assert found.p_value == pytest.approx(p)
    assert found.relative_risk.estimate == pytest.approx(6.0)
    assert found.odds_ratio.estimate == pytest.approx(13.5)
    assert found.risk_difference.estimate == pytest.approx(0.5)


def test_fisher_against_scipy_on_any_table():
    rng = np.random.default_rng(4)
    for a, b, c, d in rng.integers(0, 15, (50, 4)) + [[0, 1, 0, 1]]:
        assert compared(a, b, c, d).p_value == pytest.approx(fisher_exact([[a, b], [c, d]]).pvalue)


def test_relative_risk_limits_are_where_the_profile_score_reaches_its_quantile():
    # the risks likeliest under a ratio found by brute force, not by the quadratic
    found = compared(6, 4, 4, 36).relative_risk
    for ratio in (found.low, found.high):
        q = np.linspace(1e-6, min(1.0, 1 / ratio) - 1e-6, 400_001)
        p = ratio * q
        likelihood = 6 * np.log(p) + 4 * np.log1p(-p) + 4 * np.log(q) + 36 * np.log1p(-q)
        p, q = p[likelihood.argmax()], q[likelihood.argmax()]
        score = (6 - 10 * p) ** 2 / (10 * p * (1 - p)) + (4 - 40 * q) ** 2 / (40 * q * (1 - q))
        assert score == pytest.approx(3.8415, abs=1e-3)


def test_one_disc_that_failed_says_little():
    # 1 of 1 against 160 of 1251: the log scale's own limits would be 6.8 to 9.0
    found = compared(1, 0, 160, 1091).relative_risk
    assert found.low < 2.0


def test_limits_of_the_difference_hold_the_truth():
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(2000):
        a, c = rng.binomial(15, 0.3), rng.binomial(60, 0.1)
        found = compared(a, 15 - a, c, 60 - c).risk_difference
        held += found.low <= 0.2 <= found.high
    assert 0.935 < held / 2000 < 0.985


@pytest.mark.parametrize("counts", [(0, 4, 4, 36), (6, 4, 0, 36), (0, 4, 0, 36), (4, 0, 36, 0)])
def test_empty_cells_widen_the_limits_to_where_nothing_is_known(counts):
    found = compared(*counts)
    a, _, c, _ = counts
    if c == 0:
        assert found.relative_risk.high == np.inf
    if a == 0:
        assert found.relative_risk.low == 0.0
        assert found.odds_ratio.low == 0.0
    assert found.risk_difference.low <= found.risk_difference.estimate
    assert found.risk_difference.high >= found.risk_difference.estimate


@pytest.mark.parametrize("counts", [(0, 0, 1, 1), (1, 1, 0, 0), (-1, 2, 1, 1)])
def test_an_empty_group_is_refused(counts):
    with pytest.raises(ValueError, match="neither group empty"):
        compared(*counts)


def life(ending, age, **checks):
    sound = {name: None for name in DEFECTS}
    return {"ending": ending, "age_years": age, "entry_years": 0.0, "age_known": True,
            **sound, **checks}  # fmt: skip


def lives(*rows):
    frame = pd.DataFrame(rows)
    return frame.astype({name: "boolean" for name in DEFECTS})


def test_only_discs_watched_for_a_year_or_failed_within_it_count():
    table = counts_alone(
        lives(
            life("premature", 0.5, gap_even=False),
            life("premature", 3.0, gap_even=False),
            life("in_service", 0.5, gap_even=False),
            life("planned", 2.0, gap_even=True),
            life("demand", 0.2, gap_even=True),
            life("premature", 0.9, gap_even=None),
        )
    )
    (row,) = table.to_dict("records")
    assert row["check"] == "gap_even"
    assert (row["failed_with"], row["with_defect"]) == (1, 2)
    assert (row["failed_without"], row["without_defect"]) == (0, 1)


def test_a_check_never_failed_or_never_recorded_has_no_row():
    table = counts_alone(lives(life("planned", 2.0, gap_even=True), life("planned", 2.0)))
    assert table.empty
    assert "p_value" in table
