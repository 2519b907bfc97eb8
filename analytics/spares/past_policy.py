"""What stock-outs and what money would the policy have had? Past use replayed.

From each cut on the stock is run week by week with the levels that the forecast
made then asks for, and beside it with the levels of a rolling mean, from the
same prices and lead times.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import binom, nbinom, poisson

from analytics.spares.baselines import Baseline, baseline_rate
from analytics.spares.demand import DemandForecast, GroupDemand
from analytics.spares.policy import Terms, order_quantity
from analytics.spares.replay import Replay, replay

__all__ = ["coming_levels", "past_policy"]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]
Group = tuple[str, str]

_ROLLING_WEEKS = 104


def past_policy(
    forecasts: Sequence[tuple[pd.Timestamp, DemandForecast]],
    usage: pd.DataFrame,
    terms: Mapping[str, Terms],
    targets: Mapping[Group, float],
    *,
    begins: pd.Timestamp,
    until: pd.Timestamp,
    name: str = "discward",
) -> pd.DataFrame:
    """Replay past use against the levels of past forecasts and of a rolling mean.

    Parameters
    ----------
    forecasts : sequence of (Timestamp, DemandForecast)
        Cut dates, ascending, and what was forecast from the log until then;
        each is used until the next cut.
    usage : DataFrame
        `store disc_code used_on`: one row per disc used.
    terms : mapping of str to Terms
        By disc code.
    targets : mapping of (store, disc_code) to float
        Service wanted over a lead time. [-]
    begins, until : Timestamp
        First day of the log; last day replayed.
    name : str
        What the forecast is called in the result.

    Returns
    -------
    DataFrame
        `method store disc_code used short weeks_out orders bought order_cost
        holding_cost fill_rate`, two rows per group of the first forecast. Each
        policy starts with the stock it asks for.

    Raises
    ------
    ValueError
        If there is no forecast or the last day is not after the first cut.
    """
    if not forecasts or until <= forecasts[0][0]:
        raise ValueError("past_policy needs a forecast from a day before `until`, got none")
    first = forecasts[0][0]
    n_weeks = int((until - first).days // 7)
    rows = []
    for key in [(group.store, group.disc_code) for group in forecasts[0][1].groups]:
        mine = usage[(usage["store"] == key[0]) & (usage["disc_code"] == key[1])]["used_on"]
        used = _weekly(mine, first, n_weeks)
        deal, lead = terms[key[1]], max(1, int(np.ceil(terms[key[1]].lead_time_weeks)))
        past = _weekly(mine, begins, int((first - begins).days // 7))
        levels = {
            name: _forecast_levels(forecasts, key, first, n_weeks, lead, targets[key]),
            Baseline.ROLLING_MEAN.value: _rolling_levels(past, used, lead, targets[key]),
        }
        for method, points in levels.items():
            yearly = max(float(np.concatenate([past, used]).mean()) * 365.25 / 7, 0.0)
            lots = np.full(n_weeks, order_quantity(yearly, deal), dtype=np.int64)
            leads = np.full(n_weeks, lead, dtype=np.int64)
            found = replay(used, points, lots, leads, deal, opening=int(points[0]))
            rows.append(_row(method, key, found))
    return pd.DataFrame(rows)


def coming_levels(group: GroupDemand, lead_weeks: int, target: float, n_weeks: int) -> Counts:
    """Give the level that covers the coming lead time, for each week after the forecast.

    Parameters
    ----------
    group : GroupDemand
        Forecast of one store and code.
    lead_weeks : int
        Order to receipt. [weeks]
    target : float
        Service over that time. [-]
    n_weeks : int
        Weeks to give. [weeks]

    Returns
    -------
    ndarray of int, shape (n_weeks,)
        Reorder points. [-]

    Notes
    -----
    The demand between two weeks is given the difference of their means and a
    binomial, Poisson or negative binomial law, on top of what is planned in
    between. Its variance is what the draws differ by in that time, and the
    difference of what remains of the two variances: what is not known about the
    life law is the same at both weeks and must not count twice.
    """
    counts = np.arange(group.pmf.shape[1])
    mean = group.pmf @ counts
    draws = np.zeros((len(mean), 1)) if group.by_draw is None else group.by_draw
    variance = np.maximum.accumulate(group.pmf @ counts**2 - mean**2 - draws.var(axis=1))
    last = len(mean) - 1
    start = np.minimum(np.arange(n_weeks), last)
    stop = np.minimum(start + lead_weeks + 1, last)
    planned = np.round(group.planned[stop] - group.planned[start]).astype(np.int64)
    unplanned = np.maximum(mean[stop] - mean[start] - planned, 0.0)
    spread = np.maximum(variance[stop] - variance[start], 0.0)
    spread += (draws[stop] - draws[start]).var(axis=1)
    return np.asarray(planned + _smallest(unplanned, spread, target), dtype=np.int64)


def _forecast_levels(
    forecasts: Sequence[tuple[pd.Timestamp, DemandForecast]],
    key: Group,
    first: pd.Timestamp,
    n_weeks: int,
    lead: int,
    target: float,
) -> Counts:
    levels = np.zeros(n_weeks, dtype=np.int64)
    for cut, forecast in forecasts:
        start = max(0, (cut - first).days // 7)
        for group in forecast.groups:
            if (group.store, group.disc_code) == key and start < n_weeks:
                levels[start:] = coming_levels(group, lead, target, n_weeks - start)
    return levels


def _rolling_levels(past: Counts, used: Counts, lead: int, target: float) -> Counts:
    """Poisson levels of the mean of the last two years, seen from each week."""
    whole = np.concatenate([past, used])
    rates = [
        baseline_rate(whole[max(0, now - _ROLLING_WEEKS) : now], Baseline.ROLLING_MEAN)
        for now in range(max(len(past), 1), len(past) + len(used))
    ]
    rates = [*rates[:1], *rates] if len(past) == 0 else rates
    levels = poisson.ppf(target, np.array(rates) * (lead + 1))
    return np.asarray(np.maximum(levels, 0), dtype=np.int64)


def _smallest(mean: Array, variance: Array, target: float) -> Counts:
    """Smallest count reached with probability `target` by a law of these two moments."""
    mean = np.maximum(mean, 1e-12)
    ratio = np.clip(variance / mean, 1e-6, None)
    wide = nbinom.ppf(target, mean / np.maximum(ratio - 1, 1e-9), 1 / np.maximum(ratio, 1 + 1e-9))
    trials = np.ceil(mean / np.clip(1 - ratio, 1e-9, None))
    narrow = binom.ppf(target, trials, np.minimum(mean / trials, 1.0))
    same = poisson.ppf(target, mean)
    level = np.where(ratio > 1.02, wide, np.where(ratio < 0.98, narrow, same))
    return np.asarray(np.maximum(level, 0), dtype=np.int64)


def _weekly(used_on: pd.Series, start: pd.Timestamp, n_weeks: int) -> Counts:
    week = ((used_on - start).dt.days // 7).to_numpy()
    inside = (week >= 0) & (week < n_weeks)
    return np.bincount(week[inside], minlength=n_weeks).astype(np.int64)


def _row(method: str, key: Group, found: Replay) -> dict[str, object]:
    return {
        "method": method,
        "store": key[0],
        "disc_code": key[1],
        "used": found.used,
        "short": found.short,
        "weeks_out": found.weeks_out,
        "orders": found.orders,
        "bought": found.bought,
        "order_cost": found.order_cost,
        "holding_cost": found.holding_cost,
        "fill_rate": found.fill_rate,
    }
