"""Would the forecasts have been right? The log cut at earlier dates, forecast, compared.

At each cut a forecast sees only what was known then and speaks of the discs
used until the horizon. Every forecast is a distribution, so all are scored the
same way, beside plain baselines that know only past use.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.spares.base_stock import poisson_pmf
from analytics.spares.baselines import Baseline, baseline_rate
from analytics.spares.policy import quantile
from analytics.survival.scores import crps_pmf, pinball_loss

__all__ = ["COVERAGES", "Backtest", "Forecast", "Group", "backtest", "covered_share"]

Array = NDArray[np.float64]
Group = tuple[str, str]
Forecast = Callable[[pd.Timestamp, int], Mapping[Group, Array]]
"""From a cut date and a horizon in weeks to the distribution of discs used, by store and code."""

COVERAGES = (0.50, 0.80, 0.95)
_PINBALL = (0.5, 0.9, 0.95)
_PERIOD_WEEKS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Backtest:
    """How the forecasts did.

    Attributes
    ----------
    rows : DataFrame
        One row per cut, group and method: `cut store disc_code method mean
        observed crps pinball_50 pinball_90 pinball_95 covered_50 covered_80
        covered_95`.
    summary : DataFrame
        One row per method: the means of these, `bias` (forecast less observed)
        and `crps_ratio`, to the best baseline.
    policy : DataFrame
        What stock-outs and what money the stock levels of the forecasts and of a
        rolling mean would have had, as `past_policy.past_policy` gives; no rows
        where it was not replayed.
    """

    rows: pd.DataFrame
    summary: pd.DataFrame
    policy: pd.DataFrame = field(default_factory=pd.DataFrame)


def backtest(
    forecast: Forecast,
    usage: pd.DataFrame,
    cuts: Sequence[pd.Timestamp],
    *,
    begins: pd.Timestamp,
    horizon_weeks: int = 52,
    name: str = "discward",
) -> Backtest:
    """Forecast from each cut and score the forecast against what was used.

    Parameters
    ----------
    forecast : callable
        Called with a cut date and the horizon; must use nothing later than the
        cut. Returns the distribution of discs used in the horizon per group.
    usage : DataFrame
        `store disc_code used_on`: one row per disc used.
    cuts : sequence of Timestamp
        Dates to forecast from; the horizon of each must lie within the log.
    begins : Timestamp
        First day of the log; baselines look back to it.
    horizon_weeks : int
        Weeks each forecast speaks of, >= 1. [weeks]
    name : str
        What the forecast is called in the result.

    Returns
    -------
    Backtest
        Scores row by row and their means per method.

    Raises
    ------
    ValueError
        If there is no cut, or one leaves less than a year of log before it.

    Notes
    -----
    A count cannot cover exactly 80 %: a forecast is credited with the share of
    its own probability of the observed count that lies inside the interval,
    so a right forecast covers 80 % on average.
    """
    if not cuts:
        raise ValueError("cuts must name at least one date, got none")
    if min(cuts) < begins + pd.Timedelta(days=365):
        raise ValueError(
            f"every cut must leave a year of log before it, got {min(cuts):%Y-%m-%d} "
            f"with a log from {begins:%Y-%m-%d}"
        )
    rows = []
    for cut in cuts:
        ends = cut + pd.Timedelta(weeks=horizon_weeks)
        for group, pmf in sorted(forecast(cut, horizon_weeks).items()):
            mine = usage[(usage["store"] == group[0]) & (usage["disc_code"] == group[1])]["used_on"]
            observed = int(((mine > cut) & (mine <= ends)).sum())
            past = _periods(mine[mine <= cut], begins, cut)
            for method, law in _laws(name, pmf, past, horizon_weeks).items():
                scores = _scores(law, observed)
                rows.append(
                    {"cut": cut, "store": group[0], "disc_code": group[1], "method": method}
                    | scores
                )
    table = pd.DataFrame(rows)
    return Backtest(rows=table, summary=_summary(table))


def covered_share(pmf: Array, observed: int, coverage: float) -> float:
    """Give the share of the observed count's probability inside the central interval.

    Parameters
    ----------
    pmf : ndarray, shape (n_counts,)
        Forecast. [-]
    observed : int
        What happened. [-]
    coverage : float
        Probability of the interval, in (0, 1). [-]

    Returns
    -------
    float
        Between 0, outside, and 1, inside; its mean under a right forecast is
        the coverage itself. [-]

    Examples
    --------
    Counts 0 and 1 equally likely: each holds half of the central half.

    >>> covered_share(np.array([0.5, 0.5]), 0, 0.5)
    0.5
    """
    if observed >= len(pmf) or pmf[observed] <= 0:
        return 0.0
    top = float(pmf[: observed + 1].sum())
    low, high = (1 - coverage) / 2, (1 + coverage) / 2
    inside = min(top, high) - max(top - float(pmf[observed]), low)
    return max(0.0, inside) / float(pmf[observed])


def _periods(used_on: pd.Series, begins: pd.Timestamp, cut: pd.Timestamp) -> Array:
    """Discs used per period of four weeks, the last one ending at the cut."""
    days = 7 * _PERIOD_WEEKS
    n_periods = max(1, (cut - begins).days // days)
    ago = ((cut - used_on).dt.days // days).to_numpy()
    return np.bincount(ago[ago < n_periods], minlength=n_periods)[::-1].astype(float)


def _laws(name: str, pmf: Array, past: Array, horizon_weeks: int) -> dict[str, Array]:
    periods = horizon_weeks / _PERIOD_WEEKS
    recent = {Baseline.ROLLING_MEAN: past[-26:]}
    rates = {
        method: baseline_rate(recent.get(method, past), method) * periods for method in Baseline
    }
    return {name: pmf, **{method.value: poisson_pmf(rate) for method, rate in rates.items()}}


def _scores(pmf: Array, observed: int) -> dict[str, float]:
    padded = np.pad(pmf, (0, max(0, observed + 1 - len(pmf))))
    padded = padded / padded.sum()
    levels = {f"{level:.0%}".rstrip("%"): level for level in _PINBALL}
    return {
        "mean": float(padded @ np.arange(len(padded))),
        "observed": observed,
        "crps": float(crps_pmf(padded, observed)),
        **{
            f"pinball_{word}": float(pinball_loss(level, quantile(padded, level), observed))
            for word, level in levels.items()
        },
        **{
            f"covered_{coverage:.0%}".rstrip("%"): covered_share(padded, observed, coverage)
            for coverage in COVERAGES
        },
    }


def _summary(rows: pd.DataFrame) -> pd.DataFrame:
    figures = rows.drop(columns=["cut", "store", "disc_code"]).groupby("method", sort=False).mean()
    figures["bias"] = figures["mean"] - figures["observed"]
    baselines = figures.loc[[method.value for method in Baseline], "crps"]
    figures["crps_ratio"] = figures["crps"] / baselines.min()
    return figures.reset_index()
