"""One simulated plant with a bad lot, judged the day after its third failure."""

import sys
from pathlib import Path

import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "studies"))

from early_fleets import World, cut, simulate

from analytics.early import lots as module
from analytics.early.lots import excess_by_lot
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


def test_a_lot_is_not_excused_by_what_it_did_to_the_law(judged, then, monkeypatch):
    fleet, model = fit_to_lives(then, n_draws=60, seed=1)
    monkeypatch.setattr(module, "_MOST_REFITS", 0)
    with_itself = excess_by_lot(then, STOCK, fleet, model).set_index("lot")["p_value"]["BAD"]
    monkeypatch.setattr(module, "_MOST_REFITS", 5)
    monkeypatch.setattr(module, "FALSE_FLAG_RATE", 0.0)
    assert excess_by_lot(then, STOCK, fleet, model).set_index("lot")["p_value"]["BAD"] < with_itself


def test_without_lots_nothing_is_judged(then):
    nameless = then.assign(lot=None)
    assert excess_by_lot(nameless, STOCK, *fit_to_lives(nameless, n_draws=60, seed=1)).empty
