"""Does following the recommended age pay, and does the promised risk hold?

Simulated fleets of 500 lives, each with its own truth. The two-hazard model is fitted to what a
plant would have recorded; the recommended ages are then priced under the truth, next to the best
age that knows the truth, the fleet's interval of today and running to failure.
"""

import csv
from dataclasses import dataclass
from datetime import date
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from analytics.intervals.age_replacement import age_replacement
from analytics.intervals.risk import premature_probability
from analytics.intervals.walk import walk
from analytics.survival.law import Family, LifeLaw
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard_data import fill_unrecorded, two_hazard_data
from analytics.survival.two_hazard_draws import life_law
from analytics.survival.two_hazard_fit import fit_two_hazard, parameter_draws

FLEETS = 200
LIVES = 500
POSITIONS = 40
DRAWS = 200
PREVALENCE = np.array([0.20, 0.12, 0.08])
EFFECTS = np.array([1.4, 0.9, 0.0])
SEED = 20260930
RESULTS = Path(__file__).parent / "results" / "interval_fleets.csv"

CASES = np.array(list(product([0.0, 1.0], repeat=3)))
WEIGHTS = np.prod(np.where(CASES == 1, PREVALENCE, 1 - PREVALENCE), axis=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """One fleet's truth and habits; costs with a planned replacement at 1."""

    shape: float
    scale: float
    rate: float
    k: float
    exponent: float
    today: float
    unplanned: float
    upsets: float

    def law(self, log_ratio: np.ndarray, defects: np.ndarray) -> LifeLaw:
        """Life of discs, shape (1, n)."""
        one = np.ones((1, len(log_ratio)))
        return LifeLaw(
            family=Family.WEIBULL,
            wear_location=(np.log(self.scale) - self.exponent * log_ratio)[None, :],
            wear_sigma=one / self.shape,
            install_log_rate=(self.rate + defects @ EFFECTS)[None, :],
            install_shape=self.k * one,
        )


def make_world(rng: np.random.Generator) -> World:
    scale = float(rng.uniform(3.5, 10.0))
    return World(
        shape=float(rng.uniform(1.8, 4.0)),
        scale=scale,
        rate=float(rng.uniform(-4.2, -3.0)),
        k=float(rng.uniform(0.4, 0.8)),
        exponent=float(rng.uniform(4.0, 8.0)),
        today=float(rng.uniform(0.35, 1.2) * scale),
        unplanned=float(np.exp(rng.uniform(np.log(4.0), np.log(40.0)))),
        upsets=float(rng.uniform(0.0, 0.12)),
    )


def simulate(world: World, rng: np.random.Generator):
    """Make 500 recorded lives: upsets, plan, late entry, leaks found on rounds, blank checks."""
    n = 2 * LIVES
    log_ratio = rng.normal(0, 0.12, n)
    defects = (rng.random((n, 3)) < PREVALENCE).astype(float)
    law = world.law(log_ratio, defects)
    worn = np.exp(law.wear_location[0]) * rng.exponential(size=n) ** (1 / world.shape)
    fitted = (rng.exponential(size=n) / np.exp(law.install_log_rate[0])) ** (1 / world.k)
    life = np.minimum(worn, fitted)
    entry = np.where(rng.random(n) < 0.15, rng.uniform(0, world.today, n), 0.0)
    upset = rng.exponential(1 / max(world.upsets, 1e-9), n)
    stop = np.minimum(upset, world.today * rng.normal(1.0, 0.1, n).clip(0.5, 1.5))
    kept = np.flatnonzero(np.minimum(life, stop) > entry + 0.01)[:LIVES]
    life, entry, stop = life[kept], entry[kept], stop[kept]
    failed = life <= stop
    leak = failed & (rng.random(len(kept)) < 0.2)
    lower = np.where(leak, np.maximum(np.floor(life * 4) / 4, entry), np.where(failed, life, stop))
    upper = np.where(leak, np.floor(life * 4) / 4 + 0.25, np.where(failed, life, np.inf))
    seen = defects[kept].copy()
    seen[rng.random(seen.shape) < 0.2] = np.nan
    return two_hazard_data(
        lifetimes(lower, upper, entry=entry),
        defects=fill_unrecorded(seen),
        defect_names=("gap", "seat", "final"),
        wear_design=log_ratio[kept][:, None],
        wear_names=("ln ratio",),
    )


def true_effects(world: World, log_ratio: np.ndarray, ages: np.ndarray):
    """Cost and early share under the truth, defects of the next disc unknown: a mixture."""
    units = len(log_ratio)
    law = world.law(np.repeat(log_ratio, len(CASES)), np.tile(CASES, (units, 1)))
    seen = walk(law, np.repeat(ages, len(CASES), axis=1), demand_rate=world.upsets)

    def mixed(values):
        return (values[:, 0].reshape(len(ages), units, len(CASES)) * WEIGHTS).sum(axis=2)

    alive, area, early = mixed(seen.survived), mixed(seen.exposure), mixed(seen.early)
    return (alive + world.unplanned * (1 - alive)) / area, early


def follow_one(seed: int) -> dict[str, float]:
    rng = np.random.default_rng([SEED, seed])
    world = make_world(rng)
    data = simulate(world, rng)
    draws = parameter_draws(fit_two_hazard(data), DRAWS, seed)
    log_ratio = rng.normal(0, 0.12, POSITIONS)
    practice = np.tile(PREVALENCE, (POSITIONS, 1))
    law = life_law(draws, defects=practice, wear_design=log_ratio[:, None])
    found = age_replacement(law, 1.0, world.unplanned, demand_rate=world.upsets)
    chosen = found.recommended_years
    promised = premature_probability(law, chosen, demand_rate=world.upsets).mean(axis=1)
    grid = np.geomspace(0.05, 40.0, 160)[:, None] * np.ones(POSITIONS)
    fixed = np.stack([chosen, np.full(POSITIONS, world.today), np.full(POSITIONS, np.inf)])
    cost, early = true_effects(world, log_ratio, np.concatenate([fixed, grid]))
    return {
        "seed": seed,
        "failures": int(np.isfinite(data.lifetimes.upper).sum()),
        "recommended": cost[0].sum(),
        "today": cost[1].sum(),
        "run_to_failure": cost[2].sum(),
        "best": cost[2:].min(axis=0).sum(),
        "run_to_failure_share": float(np.isinf(chosen).mean()),
        "promised": promised.mean(),
        "promised_low": np.quantile(promised, 0.025),
        "promised_high": np.quantile(promised, 0.975),
        "happened": early[0].mean(),
    }


@pytest.mark.study
def test_following_the_recommendation_pays_and_the_promise_holds():
    rows = [follow_one(seed) for seed in range(FLEETS)]
    with RESULTS.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [*rows[0], "date"])
        writer.writeheader()
        writer.writerows({**row, "date": date.today().isoformat()} for row in rows)
    column = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    dearer = column["recommended"] / column["best"]
    missed = column["promised"] - column["happened"]
    covered = (column["promised_low"] <= column["happened"]) & (
        column["happened"] <= column["promised_high"]
    )
    print(
        f"{FLEETS} fleets: cost / best mean {dearer.mean():.4f}, 95 % of fleets below"
        f" {np.quantile(dearer, 0.95):.3f}, worst {dearer.max():.3f};"
        f" today / best {(column['today'] / column['best']).mean():.3f},"
        f" run to failure / best {(column['run_to_failure'] / column['best']).mean():.3f};"
        f" promised less happened mean {100 * missed.mean():.2f} points,"
        f" spread {100 * missed.std():.2f}, within 2 points in"
        f" {100 * (np.abs(missed) <= 0.02).mean():.0f} %, inside its 95 % limits in"
        f" {100 * covered.mean():.0f} %"
    )

    assert dearer.mean() <= 1.05
    assert column["recommended"].sum() < column["today"].sum()
    assert column["recommended"].sum() < column["run_to_failure"].sum()
    assert abs(missed.mean()) <= 0.02
    assert covered.mean() >= 0.90
