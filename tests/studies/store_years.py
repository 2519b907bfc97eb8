"""Store-years played out event by event, and a stock run through them.

Shares no code with the forecast: lives by inversion, upsets as a Poisson stream
per process unit, outages on their dates, discs spoilt on fitting one by one.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit


@dataclass(frozen=True, slots=True, kw_only=True)
class StockYear:
    """A stock run through many years, arrays of runs."""

    weeks_out: np.ndarray
    orders: np.ndarray
    shelf_weeks: np.ndarray

    def cost(self, per_order: float, price: float, holding_rate: float) -> float:
        """Mean cost of a year: orders and what lay on the shelf. [currency]"""
        shelf = self.shelf_weeks.mean() * price * holding_rate * 7 / 365.25
        return float(self.orders.mean() * per_order + shelf)


def discs_used(*, ages, scale, shape, planned_years, rate, opened, loss, weeks, runs, seed):
    """Discs one unit uses in each week, shape (runs, weeks)."""
    planned = np.array(sorted(planned_years), dtype=float)
    return _play(
        np.asarray(ages, float),
        float(scale),
        float(shape),
        planned,
        float(rate),
        np.cumsum(opened),
        float(loss),
        weeks,
        runs,
        seed,
    )


@njit(cache=True)
def _play(ages, scale, shape, planned, rate, opened, loss, weeks, runs, seed):
    np.random.seed(seed)
    n, week = len(ages), 7 / 365.25
    used = np.zeros((runs, weeks), dtype=np.int64)
    for run in range(runs):
        end = np.empty(n)
        for i in range(n):
            spent = (ages[i] / scale) ** shape
            end[i] = scale * (spent - np.log(np.random.random())) ** (1 / shape) - ages[i]
        upset = -np.log(np.random.random()) / rate
        plan = 0
        while True:
            due = planned[plan] if plan < len(planned) else np.inf
            when = min(end.min(), upset, due)
            if when > weeks * week:
                break
            struck = np.zeros(n, dtype=np.bool_)
            if when == due:
                struck[:] = True
                plan += 1
            elif when == upset:
                size = 1 + np.searchsorted(opened, np.random.random())
                struck[np.random.permutation(n)[:size]] = True
                upset = when - np.log(np.random.random()) / rate
            else:
                struck[np.argmin(end)] = True
            for i in range(n):
                if struck[i]:
                    used[run, min(int(when / week), weeks - 1)] += 1
                    while np.random.random() < loss:
                        used[run, min(int(when / week), weeks - 1)] += 1
                    end[i] = when + scale * (-np.log(np.random.random())) ** (1 / shape)
    return used


def run_stock(used, levels, lot: int, lead_weeks: int) -> StockYear:
    """Review the stock every week against the week's level; all runs at once.

    What was ordered arrives first, then the week's demand is met or waits, then
    the list is reviewed: below the level a lot, or what is missing, is ordered.
    """
    runs, weeks = used.shape
    arriving = np.zeros((runs, weeks + lead_weeks + 1), dtype=np.int64)
    stock = np.full(runs, int(levels[0]))
    under_way, out, orders, shelf = np.zeros((4, runs), dtype=np.int64)
    for week in range(weeks):
        stock = stock + arriving[:, week]
        under_way -= arriving[:, week]
        stock -= used[:, week]
        out += stock < 0
        shelf += np.maximum(stock, 0)
        missing = int(levels[week]) - stock - under_way
        order = np.where(missing > 0, np.maximum(missing, lot), 0)
        arriving[:, week + lead_weeks] += order
        under_way += order
        orders += order > 0
    return StockYear(weeks_out=out, orders=orders, shelf_weeks=shelf)
