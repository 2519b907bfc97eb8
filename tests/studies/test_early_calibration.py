"""How often are the innocent flagged, and the guilty found? Simulated plants with known truth.

`FLEETS` scales every count: 1 is the full study.
"""

import os
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from early_fleets import World, cut, null_world, simulate
from lot_oracle import oracle_finds
from scipy.stats import chi2

from analytics.early.answer import excess_by_crew
from analytics.early.attribution import defect_table
from analytics.early.lots import FALSE_LOT_ALARMS_PER_YEAR, excess_by_lot
from analytics.survival.two_hazard import share_owed
from analytics.survival.unclear_endings import fit_to_lives

pytestmark = pytest.mark.study

FLEETS = float(os.environ.get("FLEETS", "1"))
RESULTS = Path(__file__).parent / "results" / "early_calibration.csv"
RARE, MIDDLING, COMMON = 0.005, 0.015, 0.04
"""Installation hazard of a clean disc: a third, half, and most of the failures are early."""

FRESH = 400_000
"""Seeds that no choice of the method has seen."""

DRAWS = 200

NO_STOCK = pd.DataFrame({"lot": [], "store": [], "quantity": []})


def record(**figures) -> None:
    row = pd.DataFrame([{"date": f"{datetime.now(UTC):%Y-%m-%d}", **figures}])
    row.to_csv(RESULTS, mode="a", header=not RESULTS.exists(), index=False)


def test_of_plants_without_any_effect_at_most_five_in_a_hundred_are_flagged():
    fleets = int(500 * FLEETS)
    flagged = np.zeros((fleets, 3), dtype=bool)
    for seed in range(fleets):
        lives = simulate(null_world(), FRESH + seed)
        fleet, model = fit_to_lives(lives, n_draws=DRAWS, seed=1)
        owed = share_owed(model.hazard_draws, fleet.data)
        flagged[seed] = [
            defect_table(lives, fleet, model.two_hazard, owed)["flagged"].any(),
            excess_by_crew(lives, fleet, model)["flagged"].any(),
            excess_by_lot(lives, NO_STOCK, fleet, model)["flagged"].any(),
        ]
    for kind, share in zip(("defect", "crew", "lot"), flagged.mean(axis=0), strict=True):
        record(study=f"null, {kind} flagged", fleets=fleets, share=share)
    share = flagged.any(axis=1).mean()
    record(study="null, anything flagged", fleets=fleets, share=share)
    assert share <= 0.05


def test_the_good_crew_on_the_hard_positions_is_not_blamed():
    fleets = int(200 * FLEETS)
    world = World(
        positions=240, crews=3, slips=(0.4, 1.0, 1.8), by_hardness=True, ratio_spread=0.13
    )
    right, naive_wrong = np.zeros(fleets, dtype=bool), np.zeros(fleets, dtype=bool)
    for seed in range(fleets):
        lives = simulate(world, FRESH + seed)
        fleet, model = fit_to_lives(lives, n_draws=DRAWS, seed=1)
        ratio = excess_by_crew(lives, fleet, model).set_index("crew")["rate_ratio"]
        by_crew = lives.assign(failed=lives["ending"] == "premature").groupby("crew")
        naive = by_crew["failed"].sum() / by_crew["age_years"].sum()
        right[seed] = ratio["crew 0"] < ratio["crew 2"]
        naive_wrong[seed] = naive["crew 0"] > naive["crew 2"]
    record(study="confounded, adjusted order right", fleets=fleets, share=right.mean())
    record(study="confounded, naive order wrong", fleets=fleets, share=naive_wrong.mean())
    assert naive_wrong.mean() >= 0.9
    assert right.mean() >= 0.9


def judged_at_the_third(world: dict, factor: float, fleets: int) -> tuple[int, int, int]:
    """Bad lots under suspicion, and flagged, the day after their third failure, and all of them."""
    suspect, flagged, usable = 0, 0, 0
    for seed in range(FRESH, FRESH + fleets):
        lives = simulate(World(**world, bad_lot=True, shortened=factor), seed)
        failed = lives[(lives["lot"] == "BAD") & (lives["ending"] == "premature")]
        if len(failed) < 3:
            continue
        usable += 1
        then = cut(lives, failed["ended_on"].nsmallest(3).iloc[-1] + pd.Timedelta(days=1))
        fleet, model = fit_to_lives(then, n_draws=DRAWS, seed=1)
        lots = excess_by_lot(then, NO_STOCK, fleet, model).set_index("lot")
        suspect += bool(lots.loc["BAD", "suspect"])
        flagged += bool(lots.loc["BAD", "flagged"])
    return suspect, flagged, usable


@pytest.mark.parametrize(
    ("positions", "base", "factor", "fleets"),
    [
        (150, RARE, 4.0, 200),
        (400, RARE, 4.0, 200),
        (400, MIDDLING, 4.0, 200),
        (400, COMMON, 4.0, 200),
        *[
            (400, base, factor, 60)
            for base in (RARE, MIDDLING, COMMON)
            for factor in (2.0, 3.0, 6.0)
        ],
    ],
)
def test_a_bad_lot_is_found_by_its_third_failure(positions, base, factor, fleets):
    """Where early failures are common three more are little evidence, for an oracle too."""
    world = {"positions": positions, "base": base}
    suspect, flagged, usable = judged_at_the_third(world, factor, int(fleets * FLEETS))
    oracle = oracle_finds(
        world,
        factor,
        per_year=FALSE_LOT_ALARMS_PER_YEAR,
        fleets=int(fleets * FLEETS),
        first_seed=2 * FRESH,
    )
    about = f"{positions} positions, base {base}, lives cut to 1/{factor:.0f}"
    record(study=f"bad lot suspect, {about}", fleets=usable, share=suspect / usable)
    record(study=f"bad lot flagged, {about}", fleets=usable, share=flagged / usable)
    record(
        study=f"bad lot suspect to an oracle, {about}", fleets=int(fleets * FLEETS), share=oracle
    )
    if factor == 4 and oracle >= 0.95:
        assert suspect / usable >= 0.8


@pytest.mark.parametrize(
    ("positions", "base", "fleets"), [(150, RARE, 40), (400, MIDDLING, 40), (400, COMMON, 40)]
)
def test_good_lots_are_suspect_less_than_once_in_ten_years(positions, base, fleets):
    fleets, alarms, years = int(fleets * FLEETS), 0, 0.0
    for seed in range(FRESH, FRESH + fleets):
        lives = simulate(World(positions=positions, base=base), seed)
        known = set()
        for day in pd.date_range("2019-07-01", "2023-12-01", freq="3MS"):
            then = cut(lives, day)
            if (then["ending"] == "premature").sum() < 10:
                continue
            fleet, model = fit_to_lives(then, n_draws=DRAWS, seed=1)
            lots = excess_by_lot(then, NO_STOCK, fleet, model)
            known |= set(lots.loc[lots["suspect"], "lot"])
            years += 0.25
        alarms += len(known)
    about = f"false lot alarms in ten years, {positions} positions, base {base}"
    low, high = chi2.ppf([0.025, 0.975], [2 * alarms, 2 * alarms + 2]) / 2
    low = 0.0 if alarms == 0 else low
    for word, count in (("", alarms), (", lower 95 % limit", low), (", upper 95 % limit", high)):
        record(study=about + word, fleets=fleets, share=10 * count / years)
    assert alarms <= years / 10
