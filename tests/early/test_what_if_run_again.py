"""What is said to be avoided, against the same plant run again with the change and its luck kept.

One plant and no more: tests/studies/test_what_if_recovery.py counts over many.
"""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "studies"))

import changed_worlds as worlds

from analytics.early.hardest import lowered_ratio
from analytics.early.what_if import CLEAN, LOWERED, ends_otherwise, remaining_years, what_if
from analytics.survival.fleet_data import CYCLES, RATIO, defect_probabilities, fleet_data
from analytics.survival.two_hazard_changes import Change, avoided_failures
from analytics.survival.two_hazard_draws import TwoHazardDraws
from analytics.survival.unclear_endings import fit_to_lives


@pytest.fixture(scope="module")
def plant():
    return worlds.plant(300, 11)


@pytest.fixture(scope="module")
def said(plant):
    lives = worlds.recorded(plant, worlds.run(plant), 12)
    fleet, model = fit_to_lives(lives, n_draws=200, seed=1)
    begins, export = worlds.START, worlds.START + pd.Timedelta(days=365.25 * worlds.YEARS)
    table = what_if(
        lives,
        fleet,
        model,
        pd.DataFrame({"position_id": []}),
        begins=begins.date(),
        export=export.date(),
    )
    return table.set_index("change"), lowered_ratio(lives, fleet, model.hazard_draws)


@pytest.mark.parametrize("change", [CLEAN, "gap_even", LOWERED])
def test_it_comes_true(plant, said, change):
    table, hardest = said
    places = np.array([int(name[1:]) for name in hardest.positions])
    changed = {
        CLEAN: worlds.mended(plant, *worlds.CHECKS),
        "gap_even": worlds.mended(plant, "gap_even"),
        LOWERED: worlds.lowered(plant, places, hardest.target["forward"]),
    }[change]
    ran = worlds.run(plant)
    failed = worlds.failures(ran)
    given = worlds.avoided_given_the_log(plant, changed, ran, 13, 20_000) / failed
    again = (failed - worlds.failures(worlds.run(changed))) / failed
    row = table.loc[change]
    # 3 points: what is not known of the parameters; 7: luck of some 230 single failures besides
    assert row["share"] == pytest.approx(given, abs=0.03)
    assert row["share"] == pytest.approx(again, abs=0.07)
    assert row["share_low"] - 0.02 < given < row["share_high"] + 0.02


def test_the_truth_given_the_log_is_right_on_average():
    """It must, over many plants, be what running them again gives: four standard errors."""
    apart, both = [], []
    for seed in range(60):
        plant = worlds.plant(60, 900 + seed)
        ran = worlds.run(plant)
        clean = worlds.mended(plant, *worlds.CHECKS)
        given = worlds.avoided_given_the_log(plant, clean, ran, seed, 500)
        again = worlds.failures(ran) - worlds.failures(worlds.run(clean))
        apart.append(given - again)
        both.append(again)
    error = np.std(apart) / np.sqrt(len(apart))
    assert np.mean(apart) == pytest.approx(0.0, abs=4 * error)
    assert error < 0.05 * np.mean(both)


def test_with_the_true_hazards_known_nothing_is_left_but_the_futures_chance():
    """What is said of 8 plants by their true laws and frequencies, against each one's truth."""
    errors = []
    for seed in range(8):
        plant = worlds.plant(300, 700 + seed)
        ran = worlds.run(plant)
        lives = worlds.recorded(plant, ran, seed)
        fleet = fleet_data(lives, lives["ending"].eq("premature").astype(float))
        draws = true_draws(fleet)
        hardest = lowered_ratio(lives, fleet, draws)
        places = np.array([int(name[1:]) for name in hardest.positions])
        best, usual = worlds.best_practice(plant), defect_probabilities(fleet.design, lives)
        rows = fleet.life[fleet.data.lifetimes.ended]
        stays = (best.prevalence / plant.prevalence)[ran["crew_number"]]
        step = np.array([name != "gap_even" for name in worlds.CHECKS])
        changes = [
            Change(practice=usual * stays, kept=dict(enumerate(stays[rows].T))),
            Change(practice=usual * step, kept={1: np.zeros(len(rows))}),
            Change(practice=usual, wear_shift=hardest.change[rows][:, None] * [1.0, 0.0]),
        ]
        others = [
            best,
            worlds.mended(plant, "gap_even"),
            worlds.lowered(plant, places, hardest.target["forward"]),
        ]
        found = avoided_failures(
            draws,
            fleet.data,
            changes,
            others=ends_otherwise(lives, fleet),
            remaining_years=remaining_years(lives)[rows],
        )
        true = [
            worlds.avoided_given_the_log(plant, other, ran, 20 + seed, 20_000) for other in others
        ]
        errors.append([each.total[0, 0] / at - 1 for each, at in zip(found, true, strict=True)])
    error = np.std(errors, axis=0) / np.sqrt(len(errors))
    # a part in a hundred beside the futures' chance: the grid, the kinds of install
    assert (np.abs(np.mean(errors, axis=0)) < 4 * error + 0.01).all()
    assert (error < 0.01).all()


def true_draws(fleet):
    """The laws the plants were drawn from, as the model's parameters; one draw."""
    one, design = np.ones(1), fleet.design
    assert fleet.data.defect_names == worlds.CHECKS
    assert fleet.data.wear_names == (RATIO, CYCLES)
    centre = worlds.RATIO_EXPONENT * (design.log_ratio - np.log(0.78))
    centre += worlds.CYCLE_EXPONENT * (design.log_cycles - np.log(300))
    return TwoHazardDraws(
        install_log_rate=np.log(worlds.BASE) * one,
        install_shape=worlds.SHAPE * one,
        defect_effects=worlds.EFFECTS[None, :],
        first_defect_effect=0 * one,
        install_effects=np.zeros((1, 0)),
        wear_location=(np.log(9.0) + centre) * one,
        wear_sigma=one / 3,
        wear_effects=np.array([[worlds.RATIO_EXPONENT, worlds.CYCLE_EXPONENT]]),
        wear_defect_effects=np.zeros((1, 4)),
    )
