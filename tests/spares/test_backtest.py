import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson

from analytics.spares.backtest import backtest, covered_share

BEGINS = pd.Timestamp("2015-01-01")
CUTS = [pd.Timestamp(f"{year}-01-01") for year in range(2017, 2024)]


def use(rate_per_year: float, groups: int, seed: int) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for group in range(groups):
        days = rng.uniform(0, 3650, rng.poisson(rate_per_year * 10))
        rows += [("north", f"D{group:03d}", BEGINS + pd.Timedelta(days=day)) for day in days]
    return pd.DataFrame(rows, columns=["store", "disc_code", "used_on"])


def knows_the_rate(rate: float, groups: int):
    def forecast(cut, weeks):
        pmf = poisson.pmf(np.arange(80), rate * weeks * 7 / 365.25)
        return {("north", f"D{group:03d}"): pmf for group in range(groups)}

    return forecast


def test_true_forecast_covers_what_it_says_and_beats_the_rest():
    result = backtest(knows_the_rate(4.0, 60), use(4.0, 60, 1), CUTS, begins=BEGINS)

    ours = result.summary.set_index("method").loc["discward"]
    assert len(result.rows) == 4 * 60 * len(CUTS)
    # 420 forecasts: one sigma of a coverage of 80 % is 2 points.
    assert ours["covered_50"] == pytest.approx(0.50, abs=0.07)
    assert ours["covered_80"] == pytest.approx(0.80, abs=0.06)
    assert ours["covered_95"] == pytest.approx(0.95, abs=0.035)
    assert ours["crps_ratio"] < 1
    assert abs(ours["bias"]) < 0.3


def test_crps_of_the_truth_is_its_own_expected_score():
    # Expected CRPS of a right Poisson(m) forecast: sum F (1 - F).
    result = backtest(knows_the_rate(4.0, 60), use(4.0, 60, 2), CUTS, begins=BEGINS)
    law = poisson.cdf(np.arange(80), 4.0 * 364 / 365.25)

    ours = result.summary.set_index("method").loc["discward", "crps"]
    assert ours == pytest.approx((law * (1 - law)).sum(), rel=0.08)


def test_use_on_the_cut_is_past_and_on_the_last_day_is_counted():
    cut = pd.Timestamp("2020-01-01")
    usage = pd.DataFrame(
        {
            "store": "north",
            "disc_code": "D000",
            "used_on": [cut, cut + pd.Timedelta(weeks=52), cut + pd.Timedelta(weeks=53)],
        }
    )

    rows = backtest(knows_the_rate(1.0, 1), usage, [cut], begins=BEGINS).rows

    assert rows["observed"].tolist() == [1] * 4


def test_a_code_never_used_before_scores_what_was_missed():
    cut = pd.Timestamp("2020-01-01")
    usage = pd.DataFrame(
        {
            "store": "north",
            "disc_code": "D000",
            "used_on": [cut + pd.Timedelta(days=d) for d in (9, 99)],
        }
    )

    rows = backtest(knows_the_rate(2.0, 1), usage, [cut], begins=BEGINS).rows

    assert rows[rows["method"] == "TSB"]["crps"].tolist() == [2.0]


@pytest.mark.parametrize("coverage", [0.5, 0.8, 0.95])
def test_mean_covered_share_of_a_right_forecast_is_the_coverage(coverage):
    pmf = poisson.pmf(np.arange(30), 1.3)

    mean = sum(p * covered_share(pmf, n, coverage) for n, p in enumerate(pmf))

    assert mean == pytest.approx(coverage, abs=1e-9)


def test_refuses_no_cut_and_a_cut_too_early():
    usage = use(1.0, 1, 3)
    with pytest.raises(ValueError, match="at least one date"):
        backtest(knows_the_rate(1.0, 1), usage, [], begins=BEGINS)
    with pytest.raises(ValueError, match="leave a year of log before it"):
        backtest(knows_the_rate(1.0, 1), usage, [pd.Timestamp("2015-06-01")], begins=BEGINS)
