"""Before and after a programme: the arithmetic, the choice of the worst, and what is refused."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from scipy.stats import f as f_ratio

from analytics.early.programmes import Tally, before_and_after, change_of_rate
from analytics.early.watched_records import FoundDefects, found_defects
from analytics.installs.checklist import DEFECTS
from analytics.logs.settings import Programme, parse_settings

BEGUN = date(2022, 1, 1)


def tally(before, expected, after, expected_after, inside, speaks=1.0):
    return Tally(
        label=np.array([f"crew {i}" for i in range(len(before))], dtype=object),
        inside=np.array(inside),
        before=np.array([before, expected], dtype=float),
        after=np.array([after, expected_after], dtype=float),
        speaks=speaks,
    )


def test_many_events_give_the_ratio_of_two_rates_with_exact_limits():
    # Independent route: with as many events as these the prior has no say, and the ratio of two
    # Poisson rates with Jeffreys' half event has limits by the F distribution.
    seen = tally([4000, 4000], [4000, 4000], [500, 1], [1000, 1], [True, False])

    inside, _ = change_of_rate(seen)

    limits = [0.5005 * f_ratio.ppf(q, 2 * 500.5, 2 * 4000) for q in (0.025, 0.5, 0.975)]
    assert np.quantile(inside, [0.025, 0.5, 0.975]) == pytest.approx(limits, rel=0.015)


def test_the_worst_of_many_alike_is_drawn_to_the_others():
    # 20 crews of one rate; the worst saw 19 against 10. The naive ratio says half; there is none.
    rng = np.random.default_rng(5)
    before = np.append(19, rng.poisson(10, 19))
    seen = tally(before, [10] * 20, [10] * 20, [10] * 20, [True] + [False] * 19)

    inside, outside = change_of_rate(seen)

    assert np.median(inside) > 0.75
    assert np.quantile(inside, 0.975) > 1.1
    assert np.median(outside) == pytest.approx(1.0, abs=0.15)


def test_a_crew_that_is_truly_worse_keeps_its_level():
    before = np.append(400, [100] * 9)
    seen = tally(before, [100] * 10, [200] + [100] * 9, [100] * 10, [True] + [False] * 9)

    inside, _ = change_of_rate(seen)

    assert np.median(inside) == pytest.approx(0.5, abs=0.04)


def test_none_outside_no_comparison():
    _, outside = change_of_rate(tally([20, 30], [25, 25], [10, 12], [20, 20], [True, True]))

    assert outside is None


def test_no_failure_since_is_not_a_rate_of_nought():
    inside, _ = change_of_rate(tally([20], [20], [0], [5], [True]))

    assert 0.2 < np.quantile(inside, 0.975) < 1.5


def test_clusters_tell_less():
    single = tally([40, 40], [40, 40], [20, 40], [40, 40], [True, False])
    clusters = tally([40, 40], [40, 40], [20, 40], [40, 40], [True, False], speaks=0.5)

    narrow, wide = (np.quantile(change_of_rate(t)[0], [0.025, 0.975]) for t in (single, clusters))

    assert np.diff(np.log(wide)) > 1.25 * np.diff(np.log(narrow))


def fittings(n, crews=("A", "B")):
    """Checks of one name on record, half the crews' seats dirty until the programme."""
    days = pd.date_range("2020-01-01", "2023-12-31", periods=n)
    crew = np.array([crews[i % len(crews)] for i in range(n)])
    improved = (days >= pd.Timestamp(BEGUN)) & (crew == "A")
    found = np.where(improved, np.arange(n) % 8 == 0, np.arange(n) % 4 < 2).astype(float)
    return FoundDefects(
        fittings=pd.DataFrame({"installed_on": days, "site": "one", "crew": crew}),
        found=found,
        recorded=np.ones(n),
        expected=np.full(n, found.mean()),
    )


class NoLives:
    """Lives held against usual fitting, none of them failed."""

    lives = pd.DataFrame(
        {"installed_on": pd.to_datetime([]), "site": pd.Series(dtype=object)}
    ).assign(crew=pd.Series(dtype=object))
    events = expected = install = wear = np.empty(0)


def test_records_show_the_crew_that_improved_and_the_rest_that_did_not():
    table = before_and_after(
        NoLives, fittings(800), [Programme(name="school", starts_on=BEGUN, crews=("A",))]
    ).set_index("measure")

    row = table.loc["records"]
    assert row["net"] == pytest.approx(0.5, abs=0.08)
    assert row["net_high"] < 0.75
    assert row["rest"] == pytest.approx(1.0, abs=0.12)
    assert row["observed_before"] == 101
    assert "both sides" in table.loc["failures", "note"]


def test_a_programme_that_reached_nobody_says_so():
    table = before_and_after(
        NoLives, fittings(80), [Programme(name="school", starts_on=BEGUN, crews=("Z",))]
    )

    assert table["note"].str.contains("no fitting of the programme on both sides").all()
    assert table["change"].isna().all()


def test_declared_in_the_settings():
    text = '[[programmes]]\nname = "school"\nstarts_on = 2022-01-01\ncrews = ["A"]\n'

    (programme,) = parse_settings(text).programmes

    assert programme == Programme(name="school", starts_on=BEGUN, crews=("A",))


def life_rows(passed, **changes):
    frame = pd.DataFrame({name: pd.array([None] * 4, dtype="boolean") for name in DEFECTS})
    frame["seat_clean"] = pd.array(passed, dtype="boolean")
    day = pd.to_datetime(["2020-01-01"] * 4)
    return frame.assign(
        age_known=True, entry_years=0.0, installed_on=day, ending="planned", site="S", crew="A"
    ).assign(**changes)


def test_blank_checks_are_neither_found_nor_expected():
    found = found_defects(life_rows([False, True, None, False]))

    assert found.found.tolist() == [1, 0, 1]
    assert found.recorded.tolist() == [1, 1, 1]
    assert found.expected == pytest.approx([2 / 3] * 3)


def test_survivors_from_before_the_log_are_left_out():
    found = found_defects(life_rows([False, True, True, False], entry_years=[2.0, 0, 0, 0]))

    assert found.found.tolist() == [0, 0, 1]


def test_no_defect_ever_found_gives_nothing_to_watch():
    assert found_defects(life_rows([True, None, True, None])) is None
