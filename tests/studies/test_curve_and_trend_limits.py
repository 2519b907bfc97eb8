"""Do the limits of curves and trends cover what they claim?

Simulated fleets with a known truth; a curve that does not reach the age asked counts as a miss.
The naive error of the mean cumulative function, wrong on purpose when units differ, is the
negative control.
"""

import csv
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from analytics.errors import NotEstimable
from analytics.survival.curve_readings import limits_at, step_at
from analytics.survival.curves import kaplan_meier, nelson_aalen
from analytics.survival.histories import histories
from analytics.survival.incidence import cumulative_incidence
from analytics.survival.mean_cumulative import mean_cumulative
from analytics.survival.power_law import fit_power_law, mtbf_limits, shape_limits

FLEETS = 2000
SEED = 20261125
SHAPE = 2.0
RESULTS = Path(__file__).parent / "results" / "curve_and_trend_limits.csv"
Coverage = Callable[[np.random.Generator], float]


def within(curve, truth, age, low, high, before_low, before_high):
    if age > curve.last_age:
        return False
    return bool(
        step_at(curve.age, low, age, before=before_low)
        <= truth
        <= step_at(curve.age, high, age, before=before_high)
    )


def holds(limits, truth):
    return bool(limits[0] <= truth <= limits[1])


def fleet(rng, n, censored):
    """Weibull lives of scale 1, a third of them seen late, a share censored."""
    life = rng.weibull(SHAPE, 4 * n)
    entry = np.where(rng.random(4 * n) < 0.3, rng.uniform(0, 0.5, 4 * n), 0.0)
    # The exponential end that censors about the wanted share of these lives.
    rate = {0.2: 0.25, 0.6: 1.35, 0.9: 6.0}[censored]
    end = entry + rng.exponential(1 / rate, 4 * n)
    kept = np.flatnonzero(np.minimum(life, end) > entry)[:n]
    life, end, entry = life[kept], end[kept], entry[kept]
    return np.minimum(life, end), life <= end, entry


def survival_and_hazard(n, censored, age):
    def once(rng):
        time, failed, entry = fleet(rng, n, censored)
        truth = age**SHAPE
        km = kaplan_meier(time, failed, entry=entry)
        na = nelson_aalen(time, failed, entry=entry)
        first = na.high[0] if na.age.size else np.inf
        return (
            age <= km.last_age and holds(limits_at(km, age), np.exp(-truth)),
            within(na, truth, age, na.low, na.high, 0.0, first),
        )

    return {"kaplan-meier": 0, "nelson-aalen": 1}, once


def incidence(n, age):
    def once(rng):
        first, second = rng.weibull(SHAPE, n), rng.exponential(2.0, n)
        end = rng.uniform(0.5, 2.0, n)
        time = np.minimum(np.minimum(first, second), end)
        cause = np.where(end <= time, 0, np.where(first <= second, 1, 2))
        curves = cumulative_incidence(time, cause)
        grid = np.linspace(0, age, 2001)
        density = SHAPE * grid ** (SHAPE - 1) * np.exp(-(grid**SHAPE) - grid / 2)
        truth = np.trapezoid(density, grid)
        return (within(curves, truth, age, curves.low[0], curves.high[0], 0.0, curves.high[0, 0]),)

    return {"incidence": 0}, once


def recurrence(n, age):
    def once(rng):
        frailty = rng.gamma(1.5, 1 / 1.5, n)
        end = rng.uniform(1.0, 4.0, n)
        counts = rng.poisson(frailty * end)
        unit = np.repeat(np.arange(n), counts)
        curve = mean_cumulative(end[unit] * rng.random(unit.size), unit, end=end)
        spread = np.exp(1.959964 * curve.naive_error / curve.mean)
        low, high = curve.mean / spread, curve.mean * spread
        return (
            within(curve, age, age, curve.low, curve.high, np.nan, np.nan),
            within(curve, age, age, low, high, np.nan, np.nan),
        )

    return {"recurrence, robust": 0, "recurrence, naive (control)": 1}, once


def trend(events, shape, closed):
    def once(rng):
        if closed:
            time = np.cumsum(rng.exponential(size=events)) ** (1 / shape)
            data, truth = histories(time), 1 / (shape * time[-1] ** (shape - 1))
        else:
            count = max(rng.poisson(events), 1)
            data = histories(rng.random(count) ** (1 / shape), end=1.0)
            truth = 1 / (events * shape)
        fit = fit_power_law(data)
        of_shape = shape_limits(fit)
        try:
            mtbf = mtbf_limits(fit)
        except NotEstimable:
            return of_shape.low <= shape <= of_shape.high, False
        return of_shape.low <= shape <= of_shape.high, mtbf.low <= truth <= mtbf.high

    return {"trend shape": 0, "trend mtbf": 1}, once


CELLS = [
    *((f"n {n}, {c:.0%} censored", survival_and_hazard(n, c, age))
      for n in (40, 200, 2000) for c, age in ((0.2, 0.7), (0.6, 0.7), (0.9, 0.3))),
    *((f"n {n}", incidence(n, 0.8)) for n in (40, 200, 2000)),
    *((f"n {n}", recurrence(n, 2.0)) for n in (40, 200)),
    *((f"{events} events, {'last event' if closed else 'set time'}", trend(events, 1.4, closed))
      for events in (6, 20, 100) for closed in (False, True)),
]  # fmt: skip


@pytest.mark.study
def test_limits_cover_what_they_claim():
    rows = []
    for place, (cell, (names, once)) in enumerate(CELLS):
        rng = np.random.default_rng([SEED, place])
        held = np.array([once(rng) for _ in range(FLEETS)])
        rows += [
            {
                "date": date.today().isoformat(),
                "seed": SEED,
                "fleets": FLEETS,
                "quantity": name,
                "cell": cell,
                "covered_95": round(float(held[:, column].mean()), 4),
            }
            for name, column in names.items()
        ]
    RESULTS.parent.mkdir(exist_ok=True)
    with RESULTS.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)

    covered = {(row["quantity"], row["cell"]): row["covered_95"] for row in rows}
    for (quantity, cell), share in covered.items():
        if "control" in quantity:
            assert share < 0.90, (quantity, cell, share)  # the wrong error must be told
        elif "2000" in cell or cell == "n 200" or "100 events" in cell:
            assert 0.935 <= share <= 0.97, (quantity, cell, share)
        else:
            assert share >= 0.90, (quantity, cell, share)
