import pandas as pd
from stock_cases import TODAY, discs, forecast, orders, positions, steady, stock

from analytics.spares.matching import match_stock
from analytics.spares.placing import best_places
from analytics.spares.policy import Terms
from analytics.spares.stock import plan_stock

TERMS = {"D1": Terms(unit_price=100.0, lead_time_weeks=8.0, lead_time_sd_weeks=0.0)}


def places(pieces, *rates):
    stores = [f"s{i}" for i in range(len(rates))]
    table = pd.concat([positions(8, store=name) for name in stores], ignore_index=True)
    groups = forecast(*[steady(rate, store=name) for rate, name in zip(rates, stores, strict=True)])
    matching = match_stock(pieces, table, discs(), TODAY)
    spares, _ = plan_stock(groups, matching, orders(), table, discs(), TODAY)
    return best_places(groups, spares, matching, TERMS)


def test_pieces_are_laid_anew_and_none_is_lost():
    found = places(
        stock(("s0", "D1", "A", 10.0, 6, None), ("depot", "D1", "B", 10.0, 2, None)), 0.2, 0.2
    )

    assert found["store"].tolist() == ["central", "s0", "s1"]
    assert found["held"].tolist() == [2, 6, 0]
    assert found["best"].sum() == 8
    # Equal demand: the sites get equal shares, however the pieces lie now.
    assert found["best"].iloc[1] == found["best"].iloc[2] > 0


def test_the_busier_store_holds_more():
    found = places(stock(("s0", "D1", "A", 10.0, 7, None)), 0.05, 0.5)

    assert found["best"].iloc[2] > found["best"].iloc[1]


def test_the_next_piece_belongs_to_one_place_when_levels_grow():
    found = places(stock(("s0", "D1", "A", 10.0, 3, None)), 0.1, 0.1)

    assert found["next"].any()


def test_pieces_that_fit_nowhere_are_not_counted():
    found = places(stock(("depot", "D1", "B", 12.0, 5, None)), 0.2, 0.2)

    assert found["held"].tolist() == [0, 0, 0]


def test_codes_of_one_store_are_left_out():
    assert places(stock(), 0.2).empty
