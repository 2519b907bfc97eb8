"""Computed demand against a vectorised Monte Carlo of equal accuracy, in one run.

Run with `pytest -m benchmark tests/benchmarks/test_spares_speed.py`; `SPARES_POSITIONS` sets the
size of the fleet. The Monte Carlo is timed on a few runs and scaled to the number that its
standard error needs to be as small as the error of the computed distribution.
"""

import os
import resource
import time
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.spares.counts import WEEK_YEARS
from analytics.spares.demand import PositionDemand, forecast_demand
from analytics.survival.law import Family, LifeLaw

pytestmark = pytest.mark.benchmark

POSITIONS = int(os.environ.get("SPARES_POSITIONS", "10000"))
DRAWS, WEEKS, PER_GROUP = 200, 104, 40
TIMED_RUNS = 200
RESULTS = Path(__file__).parents[1] / "studies" / "results"


def fleet(n: int, seed: int = 1) -> PositionDemand:
    """Two hazards, two thirds of the positions without a planned date."""
    rng = np.random.default_rng(seed)
    law = LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(6)
        + 0.3 * rng.standard_normal(n)
        + 0.1 * rng.standard_normal((DRAWS, 1)),
        wear_sigma=1 / np.clip(2.5 + 0.2 * rng.standard_normal((DRAWS, 1)), 1, 9),
        install_log_rate=np.log(0.03) + 0.3 * rng.standard_normal((DRAWS, n)),
        install_shape=np.clip(0.5 + 0.05 * rng.standard_normal((DRAWS, 1)), 0.1, 1),
    )
    group = np.arange(n) // PER_GROUP
    plans = tuple((int(rng.integers(5, 100)),) if rng.random() < 1 / 3 else () for _ in range(n))
    return PositionDemand(
        store=np.array([f"store {i % 5}" for i in group], dtype=object),
        disc_code=np.array([f"D{i}" for i in group], dtype=object),
        unit=np.array([f"unit {i // 10}" for i in range(n)], dtype=object),
        age_years=rng.uniform(0, 5, n),
        planned_weeks=plans,
        current=law,
        following=law,
        unclear_rate=np.zeros((DRAWS, n)),
    )


def monte_carlo(positions: PositionDemand, members: np.ndarray, runs: int, seed: int) -> np.ndarray:
    """Discs used by a group by each week, (runs, weeks + 1): all runs of a position at once."""
    rng = np.random.default_rng(seed)
    draw = rng.integers(DRAWS, size=runs)
    used = np.zeros((runs, WEEKS + 2), dtype=np.int32)
    law, rows = positions.current, np.arange(runs)
    shape, sigma = law.install_shape[draw, 0], law.wear_sigma[draw, 0]
    for i in members:
        rate, location = law.install_log_rate[draw, i], law.wear_location[draw, i]
        stops = [*(week * WEEK_YEARS for week in positions.planned_weeks[i]), WEEKS * WEEK_YEARS]
        clock, age = np.zeros(runs), np.full(runs, positions.age_years[i])
        for stop in stops:
            live = rows
            while live.size:
                early = np.exp(rate[live]) * age[live] ** shape[live] + rng.exponential(
                    size=live.size
                )
                worn = (age[live] / np.exp(location[live])) ** (1 / sigma[live])
                worn += rng.exponential(size=live.size)
                end = np.minimum(
                    (early / np.exp(rate[live])) ** (1 / shape[live]),
                    np.exp(location[live]) * worn ** sigma[live],
                )
                clock[live] += end - age[live]
                age[live] = 0.0
                live = live[clock[live] <= stop]
                week = np.ceil(clock[live] / WEEK_YEARS).astype(np.int64)
                np.add.at(used, (live, week), 1)
            clock[:], age[:] = stop, 0.0
            if stop < stops[-1]:
                used[:, round(stop / WEEK_YEARS)] += 1
    return used[:, : WEEKS + 1].cumsum(axis=1)


def timed(function, *arguments, **options):
    start = time.process_time()
    result = function(*arguments, **options)
    return result, time.process_time() - start


def test_computing_beats_playing_out_a_hundredfold():
    forecast_demand(fleet(PER_GROUP), n_weeks=WEEKS)
    small, large = fleet(POSITIONS // 5), fleet(POSITIONS)
    _, fifth = timed(forecast_demand, small, n_weeks=WEEKS, fitting_loss=0.0)
    computed, whole = timed(forecast_demand, large, n_weeks=WEEKS, fitting_loss=0.0)
    memory_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6

    few = fleet(10 * PER_GROUP)
    error = _largest_error(few)
    runs_needed = (0.5 / error) ** 2
    members = np.array_split(np.arange(10 * PER_GROUP), 10)
    _, per_group = timed(lambda: [monte_carlo(few, part, 20 * TIMED_RUNS, 1) for part in members])
    per_run = per_group / (20 * TIMED_RUNS) * POSITIONS / (10 * PER_GROUP)
    ratio = runs_needed * per_run / whole

    figures = {
        "date": date.today().isoformat(),
        "positions": POSITIONS,
        "draws": DRAWS,
        "weeks": WEEKS,
        "computed_cpu_s": whole,
        "time_ratio_at_five_times_the_positions": whole / fifth,
        "memory_gb": memory_gb,
        "largest_error_of_a_probability": error,
        "monte_carlo_runs_of_equal_accuracy": runs_needed,
        "monte_carlo_cpu_s_per_run": per_run,
        "times_faster": ratio,
    }
    RESULTS.mkdir(exist_ok=True)
    table = pd.DataFrame([figures]).T
    table.to_csv(RESULTS / "spares_speed.csv", header=["value"], index_label="figure")

    _agree(few, members[0])
    assert ratio >= 100
    assert whole / fifth <= 6.5
    assert memory_gb < 2
    assert len(computed.groups) == -(-POSITIONS // PER_GROUP)


def _largest_error(positions: PositionDemand) -> float:
    """Largest error of a distribution function, against a run with a far smaller step."""
    usual = forecast_demand(positions, n_weeks=WEEKS, fitting_loss=0.0).groups
    exact = forecast_demand(positions, n_weeks=WEEKS, fitting_loss=0.0, tolerance=3e-7).groups
    gaps = []
    for mine, best in zip(usual, exact, strict=True):
        size = min(mine.pmf.shape[1], best.pmf.shape[1])
        gap = mine.pmf[:, :size].cumsum(axis=1) - best.pmf[:, :size].cumsum(axis=1)
        gaps.append(np.abs(gap).max())
    return float(max(gaps))


def _agree(positions: PositionDemand, members: np.ndarray) -> None:
    """Both ways must answer the same question before their speeds are compared."""
    group = forecast_demand(positions, n_weeks=WEEKS, fitting_loss=0.0).groups[0]
    used = monte_carlo(positions, members, 20_000, 3)
    for week in (26, 104):
        spread = used[:, week].std() / np.sqrt(len(used))
        assert used[:, week].mean() == pytest.approx(group.mean[week], abs=4.5 * spread)
