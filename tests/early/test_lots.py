"""One simulated plant with a bad lot, judged the day after its third failure."""

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "studies"))

from early_fleets import World, cut, simulate

from analytics.early.lot_evidence import evidence_at_failures
from analytics.early.lots import _lot_lives, excess_by_lot
from analytics.survival.fleet_data import defect_probabilities, event_weights, wear_columns
from analytics.survival.model import law_for
from analytics.survival.unclear_endings import fit_to_lives

STOCK = pd.DataFrame(
    {
        "lot": ["BAD", "BAD", "L003"],
        "store": ["south", "north", "north"],
        "quantity": pd.array([2, 3, 0], dtype="Int64"),
    }
)


@pytest.fixture(scope="module")
def then():
    lives = simulate(World(positions=150, base=0.005, bad_lot=True), 3)
    failed = lives[(lives["lot"] == "BAD") & (lives["ending"] == "premature")]
    return cut(lives, failed["ended_on"].nsmallest(3).iloc[-1] + pd.Timedelta(days=1))


@pytest.fixture(scope="module")
def judged(then):
    return excess_by_lot(then, STOCK, *fit_to_lives(then, n_draws=60, seed=1))


def test_the_bad_lot_is_the_one_suspect(judged):
    assert judged.loc[judged["suspect"], "lot"].tolist() == ["BAD"]
    assert judged.iloc[0]["what_else"] != ""
    assert judged.loc[~judged["suspect"], "what_else"].eq("").all()


def test_every_position_and_store_that_holds_it_is_named(judged, then):
    bad = judged.set_index("lot").loc["BAD"]
    running = then[(then["lot"] == "BAD") & (then["ending"] == "in_service")]
    assert bad["positions"].split() == running["position_id"].tolist()
    assert (bad["bins"], bad["in_stock"]) == ("north south", 5)
    assert judged.set_index("lot").loc["L003", "bins"] == ""


def test_the_same_logs_give_the_same_answer(judged, then):
    again = excess_by_lot(then, STOCK, *fit_to_lives(then, n_draws=60, seed=1))
    pd.testing.assert_frame_equal(again, judged)


def evidence_of_the_bad(then, fleet, model, fitted_to, *, in_the_fit):
    rows = then[then["lot"] == "BAD"]
    defects = defect_probabilities(fleet.design, then)[rows.index]
    law = law_for(model, fleet, defects, wear_columns(fleet.design, rows))
    watched = _lot_lives(rows, np.zeros(len(rows), dtype=int), event_weights(fitted_to, then))
    return evidence_at_failures(watched, law, from_event=3, in_the_fit=in_the_fit).log_ratio[0]


def test_evidence_is_that_by_a_law_fitted_without_the_lot(then):
    # the mean of ratios over one fit against an independent route, a second fit to the others
    fleet, model = fit_to_lives(then, n_draws=1000, seed=1)
    others = then[then["lot"] != "BAD"].reset_index(drop=True)
    without = fit_to_lives(others, n_draws=1000, seed=1)
    within = evidence_of_the_bad(then, fleet, model, fleet, in_the_fit=True)
    apart = evidence_of_the_bad(then, *without, fleet, in_the_fit=False)
    excused = evidence_of_the_bad(then, fleet, model, fleet, in_the_fit=False)
    assert within == pytest.approx(apart, abs=0.5)
    assert excused < within


def test_without_lots_nothing_is_judged(then):
    nameless = then.assign(lot=None)
    assert excess_by_lot(nameless, STOCK, *fit_to_lives(nameless, n_draws=60, seed=1)).empty
