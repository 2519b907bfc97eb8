"""How well is the share of failures owed to the installation recovered? Counted over fleets.

Run with `pytest -m study tests/studies/test_share_recovery.py`; the environment variable
SHARE_FLEETS sets the number of fleets per cell. Each cell adds a row to
`results/share_recovery.csv`. A fit that fails counts as a miss.
"""

import csv
import os
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import share_worlds as worlds

from analytics.errors import NotEstimable
from analytics.estimate import Estimate
from analytics.survival.goodness import check_fit
from analytics.survival.two_hazard import (
    fit_two_hazard,
    life_law,
    parameter_draws,
    share_owed,
)

FLEETS = int(os.environ.get("SHARE_FLEETS", "200"))
SEED = 20_000
RESULTS = Path(__file__).parent / "results" / "share_recovery.csv"

pytestmark = pytest.mark.study

EFFECTS = dict(zip(worlds.CHECKS, worlds.EFFECTS, strict=True))
COLUMNS = (
    "date",
    "world",
    "lives",
    "unrecorded",
    "fleets",
    "first_seed",
    "failed",
    "failures",
    "true_share",
    "bias_points",
    "mean_error_points",
    "worst_tenth_points",
    "width",
    "share_held",
    "install_shape_held",
    "wear_shape_held",
    "ratio_held",
    "cycle_held",
    "effects_held",
    "hastens_wear",
    "first_counts_most",
    "called_misfit",
    "seconds",
)
FITTED_WORLDS = (worlds.two_hazards, worlds.no_effect)
"""Worlds whose parameters the model has; in the others only the share can be compared."""


def inside(estimate: Estimate, truth: float) -> bool:
    return estimate.low <= truth <= estimate.high


def one_fleet(world, n: int, seed: int, unrecorded: float, hessian: float) -> dict[str, float]:
    """Fit one fleet: error of the share and which truths the 95 % limits hold.

    `hessian` multiplies the curvature of the log posterior; anything but 1 is wrong.
    """
    fleet = worlds.fleet(world, n, seed, unrecorded=unrecorded)
    try:
        fit = fit_two_hazard(fleet.data)
    except NotEstimable:
        return {"failed": 1.0, "share_held": 0.0}
    modes = tuple(replace(mode, covariance=mode.covariance / hessian) for mode in fit.modes)
    draws = parameter_draws(replace(fit, modes=modes), 1000, seed=seed)
    total = share_owed(draws, fleet.data).total_share
    law = life_law(draws, defects=fleet.data.defects, wear_design=fleet.data.wear_design)
    counted = {
        "failed": 0.0,
        "failures": fleet.data.lifetimes.failures,
        "true_share": fleet.true_share,
        "error": total.estimate - fleet.true_share,
        "width": total.high - total.low,
        "share_held": inside(total, fleet.true_share),
        "hastens_wear": fit.hastens_wear,
        "first_counts_most": fit.first_counts_most,
        "called_misfit": not check_fit(law, fleet.data).fits,
    }
    return counted | (parameters_held(fit, world) if world in FITTED_WORLDS else {})


def parameters_held(fit, world) -> dict[str, float]:
    """Which of the true parameters the 95 % limits hold."""
    found = fit.estimates
    strength = 0 if world is worlds.no_effect else 1
    effects = [inside(found.defect_effects[c], strength * EFFECTS[c]) for c in EFFECTS]
    return {
        "install_shape_held": inside(found.install_shape, 0.5),
        "wear_shape_held": inside(found.wear_shape, 3.0),
        "ratio_held": inside(found.wear_effects["log_ratio"], worlds.RATIO_EXPONENT),
        "cycle_held": inside(found.wear_effects["log_cycles"], worlds.CYCLE_EXPONENT),
        "effects_held": np.mean(effects),
    }


def study(world, n: int, fleets: int, unrecorded: float = 0.0, hessian: float = 1.0):
    """All fleets of one cell: means of what was counted, errors in points of percent."""
    started = time.time()
    rows = [one_fleet(world, n, SEED + i, unrecorded, hessian) for i in range(fleets)]
    fitted = [row for row in rows if not row["failed"]]
    cell = {key: float(np.mean([row[key] for row in fitted])) for key in fitted[0]}
    error = 100 * np.array([row["error"] for row in fitted])
    cell |= {
        "failed": sum(row["failed"] for row in rows),
        "share_held": float(np.mean([row["share_held"] for row in rows])),
        "bias_points": float(error.mean()),
        "mean_error_points": float(np.abs(error).mean()),
        "worst_tenth_points": float(np.quantile(np.abs(error), 0.9)),
    }
    del cell["error"]
    name = world.__name__ if hessian == 1 else f"{world.__name__}, Hessian times {hessian:g}"
    record(name, n, unrecorded, fleets, cell, time.time() - started)
    return cell


def record(world: str, n: int, unrecorded: float, fleets: int, cell: dict, seconds: float) -> None:
    head = {
        "date": date.today().isoformat(),
        "world": world,
        "lives": n,
        "unrecorded": unrecorded,
        "fleets": fleets,
        "first_seed": SEED,
    }
    row = head | {key: round(value, 4) for key, value in cell.items()}
    row["seconds"] = round(seconds, 1)
    row = {column: row.get(column, "") for column in COLUMNS}
    fresh = not RESULTS.exists()
    with RESULTS.open("a", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(row), lineterminator="\n")
        if fresh:
            writer.writeheader()
        writer.writerow(row)


def band(fleets: int) -> tuple[float, float]:
    """Coverage of 92-98 %, opened by two standard errors of the count itself."""
    slack = 2 * np.sqrt(0.95 * 0.05 / fleets)
    return 0.92 - slack, 0.98 + slack


@pytest.mark.parametrize(("lives", "error_points"), [(200, 5.0), (1000, 2.0)])
def test_share_is_recovered_when_the_model_is_true(lives, error_points):
    cell = study(worlds.two_hazards, lives, FLEETS)

    low, high = band(FLEETS)
    assert cell["mean_error_points"] < error_points
    assert low <= cell["share_held"] <= high
    assert cell["called_misfit"] < 0.05
    for name in ("install_shape", "wear_shape", "ratio", "cycle", "effects"):
        assert cell[f"{name}_held"] >= low, name


@pytest.mark.parametrize(("lives", "error_points"), [(200, 5.0), (1000, 3.0)])
def test_share_is_recovered_when_a_fifth_of_the_records_is_missing(lives, error_points):
    cell = study(worlds.two_hazards, lives, FLEETS, unrecorded=0.2)

    low, high = band(FLEETS)
    assert cell["mean_error_points"] < error_points
    assert low <= cell["share_held"] <= high


@pytest.mark.parametrize(("lives", "largest_points"), [(200, 8.0), (1000, 5.0)])
def test_no_effect_is_not_taken_for_one(lives, largest_points):
    cell = study(worlds.no_effect, lives, FLEETS)

    assert cell["true_share"] == pytest.approx(0, abs=1e-9)
    assert abs(cell["bias_points"]) < largest_points
    assert cell["share_held"] >= band(FLEETS)[0]


@pytest.mark.parametrize("world", [worlds.lognormal_wear, worlds.accelerated, worlds.fatigue])
def test_share_survives_a_world_that_is_not_the_model(world):
    # Below 10 points, or the program's own goodness of fit says so; the first holds in all three.
    cell = study(world, 1000, FLEETS // 2)

    assert cell["mean_error_points"] < 10
    assert cell["worst_tenth_points"] < 10


def test_a_wrong_curvature_is_caught():
    # Negative control: a Hessian six times too large, so draws spread two fifths as far.
    cell = study(worlds.two_hazards, 200, FLEETS // 2, hessian=6.0)

    assert cell["share_held"] < band(FLEETS // 2)[0]
