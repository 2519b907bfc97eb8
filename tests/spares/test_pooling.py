import numpy as np
import pandas as pd
from scipy.stats import poisson
from stock_cases import TODAY, discs, orders, positions, steady, stock

from analytics.spares.demand import DemandForecast
from analytics.spares.matching import match_stock
from analytics.spares.policy import Terms
from analytics.spares.pooling import dead_stock, pooled_levels, transfers
from analytics.spares.stock import plan_stock

TERMS = {"D1": Terms(unit_price=100.0, lead_time_weeks=8.0, lead_time_sd_weeks=0.0)}


def two_stores() -> pd.DataFrame:
    return pd.concat([positions(), positions(store="south")], ignore_index=True)


def planned(pieces: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    groups = (steady(0.25), steady(0.02, store="south"))
    forecast = DemandForecast(groups=groups, n_weeks=104, step_weeks=4.0, error=0.0)
    matching = match_stock(pieces, places, discs(), TODAY)
    return plan_stock(forecast, matching, orders(), places, discs(), TODAY)[0]


def test_a_store_with_too_many_helps_the_one_with_none():
    pieces = stock(("south", "D1", "A", 10.0, 6, None))
    places = two_stores()
    spares = planned(pieces, places)

    moves = transfers(spares, pieces, places, discs(), TODAY)

    points = spares.set_index("store")["reorder_point"]
    assert moves[["from_store", "to_store", "pieces"]].to_numpy().tolist() == [
        ["south", "north", min(6 - points["south"], points["north"])]
    ]


def test_no_store_gives_below_its_own_reorder_point():
    pieces = stock(("south", "D1", "A", 10.0, 1, None))
    places = two_stores()

    assert transfers(planned(pieces, places), pieces, places, discs(), TODAY).empty


def test_pieces_that_do_not_fit_are_not_moved():
    # At 9.3 barg the northern positions need a mark of 10.9, above the top mark.
    pieces = stock(("south", "D1", "A", 10.0, 6, None))
    places = two_stores()
    places.loc[places["store"] == "north", "max_operating_pressure_barg"] = 9.3

    assert transfers(planned(pieces, places), pieces, places, discs(), TODAY).empty


def test_soonest_to_expire_moves_first():
    pieces = stock(
        ("south", "D1", "late", 10.0, 6, "2029-01-01"),
        ("south", "D1", "soon", 10.0, 2, "2026-01-01"),
    )
    places = two_stores()

    moves = transfers(planned(pieces, places), pieces, places, discs(), TODAY)

    assert moves["lot"].tolist()[0] == "soon"


def test_pieces_nobody_can_take_are_dead_and_others_are_not():
    pieces = stock(
        ("north", "D1", "too high", 12.0, 3, None),
        ("nowhere", "D1", "elsewhere", 10.0, 2, None),
        ("north", "D1", "good", 10.0, 2, None),
        ("north", "D1", "none left", 12.0, 0, None),
    )

    dead = dead_stock(match_stock(pieces, positions(), discs(), TODAY), discs())

    assert dead["lot"].tolist() == ["too high"]
    assert dead["value"].tolist() == [300.0]


def test_pooling_equals_the_poisson_of_the_summed_rate():
    groups = [steady(0.25), steady(0.25, store="south"), steady(0.1, store="south", code="D2")]

    found = pooled_levels(groups, {**TERMS, "D2": TERMS["D1"]}, {"D1": 0.97, "D2": 0.97})

    apart, together = 2 * poisson.ppf(0.97, 2.0), poisson.ppf(0.97, 4.0)
    assert found.to_dict("records") == [
        {
            "disc_code": "D1",
            "stores": 2,
            "apart": int(apart),
            "together": int(together),
            "saved": int(apart - together),
            "value": 100.0 * (apart - together),
        }
    ]


def test_one_store_has_nothing_to_pool():
    assert pooled_levels([steady(0.25)], TERMS, {"D1": 0.97}).empty


def test_blank_quantity_is_not_moved():
    pieces = stock(("south", "D1", "A", 10.0, np.nan, None))
    places = two_stores()

    assert transfers(planned(pieces, places), pieces, places, discs(), TODAY).empty
