import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson
from stock_cases import TODAY, discs, forecast, orders, positions, steady, stock

from analytics.spares.matching import match_stock
from analytics.spares.policy import Terms, lead_time_pmf
from analytics.spares.pooling import transfers
from analytics.spares.reasons import reason
from analytics.spares.stock import Settings, plan_group, plan_stock
from analytics.spares.supply import Supply, available

TERMS = Terms(unit_price=100.0, lead_time_weeks=8.0, lead_time_sd_weeks=0.0)


def held(*pieces) -> Supply:
    return Supply(shelf=sum(n for _, n in pieces), usable=pieces)


def test_reorder_point_covers_lead_time_and_review():
    # Poisson demand of 0.25 a week over 8 + 1 weeks: mean 2.25, 97 % needs 5 (0.9726).
    case = plan_group(steady(0.25), held((None, 6)), TERMS, "B", Settings())

    assert poisson.cdf(4, 2.25) < 0.97 < poisson.cdf(5, 2.25)
    assert case.reorder_point == 5


@pytest.mark.parametrize("pieces", [0, 3, 5, 6, 9, 15])
def test_order_by_is_the_last_week_that_is_early_enough(pieces):
    case = plan_group(steady(0.25), held((None, pieces)), TERMS, "B", Settings())

    # Independent route: straight from the Poisson law, week by week.
    good = [poisson.cdf(pieces, 0.25 * (week + 8)) >= 0.97 for week in range(-8, 90)]
    expected = good.index(False) - 1 - 8
    assert case.order_week == expected
    assert case.order_now == (expected < 1)
    assert case.order_now == (pieces < case.reorder_point)


def test_service_is_the_chance_that_stock_lasts():
    terms = dataclasses.replace(TERMS, lead_time_sd_weeks=3.0)
    case = plan_group(steady(0.25), held((None, 4)), terms, "B", Settings())

    lead = lead_time_pmf(8.0, 3.0, longest=104)
    expected = sum(p * poisson.cdf(4, 0.25 * week) for week, p in enumerate(lead))
    assert case.service == pytest.approx(expected, abs=1e-9)


def test_uncertain_lead_time_raises_the_reorder_point():
    sure = plan_group(steady(0.5), held((None, 9)), TERMS, "A", Settings())
    spread = plan_group(
        steady(0.5),
        held((None, 9)),
        dataclasses.replace(TERMS, lead_time_sd_weeks=4.0),
        "A",
        Settings(),
    )

    assert spread.reorder_point > sure.reorder_point


def test_pieces_under_way_count_from_their_week():
    supply = Supply(shelf=2, usable=((None, 2),), arrivals=((10, 3),))

    pieces = available(supply, steady(0.1).pmf)

    assert pieces[9] == 2
    assert pieces[10] == 5


def test_expiring_pieces_count_only_as_far_as_they_were_surely_used():
    group = steady(0.5)
    supply = held((20, 8), (None, 4))

    pieces = available(supply, group.pmf)

    surely = poisson.ppf(0.1, 10.0)
    assert surely == 6
    assert pieces[20] == 12
    assert pieces[21] == 4 + surely


def test_two_expiries_do_not_count_the_same_use_twice():
    pieces = available(held((20, 4), (20, 4), (None, 4)), steady(0.5).pmf)

    assert pieces[21] == 4 + 6


def test_order_quantity_lasts_until_the_next_cycle():
    terms = dataclasses.replace(TERMS, lot_charge=400.0)
    case = plan_group(steady(0.25), held((None, 0)), terms, "B", Settings())

    yearly = 0.25 * 365.25 / 7
    lot = np.sqrt(2 * 400 * yearly / 20)
    after = plan_group(steady(0.25), held((None, case.order_quantity)), terms, "B", Settings())
    assert case.order_week == -8
    assert case.order_quantity >= lot
    # The next order is due about one cycle after the first would have arrived.
    assert after.order_week == pytest.approx(lot / 0.25, abs=3)


def test_minimum_order_is_kept_and_said():
    terms = dataclasses.replace(TERMS, minimum_order=30)
    spares, _ = plan(stock(), table=discs(minimum_order=60))

    case = plan_group(steady(0.1), held((None, 0)), terms, "C", Settings())

    assert case.order_quantity == 30
    assert "60 is the minimum order" in spares["reason"].iloc[0]


def test_sole_relief_keeps_an_insurance_spare():
    rare = steady(0.0005)

    bare = plan_group(rare, held(), TERMS, "A", Settings())
    kept = plan_group(rare, held((None, 1)), TERMS, "A", Settings())
    low = plan_group(rare, held(), TERMS, "C", Settings())

    assert bare.insurance
    assert bare.reorder_point == 1
    assert bare.order_now
    assert not kept.order_now
    assert not low.order_now
    assert not low.insurance


def test_nothing_needed_within_the_horizon_asks_for_nothing():
    case = plan_group(steady(0.01), held((None, 9)), TERMS, "C", Settings())

    assert case.order_week is None
    assert case.order_quantity == 0
    assert case.cost == 0


def plan(stock_table, order_table=None, table=None, group=None, places=None):
    places = positions() if places is None else places
    table = discs() if table is None else table
    matching = match_stock(stock_table, places, table, TODAY)
    order_table = orders() if order_table is None else order_table
    groups = forecast(steady(0.25) if group is None else group)
    return plan_stock(groups, matching, order_table, places, table, TODAY)


def test_table_counts_only_pieces_that_fit():
    spares, weekly = plan(
        stock(
            ("north", "D1", "A", 10.0, 3, None),
            ("north", "D1", "B", 11.0, 4, None),
            ("north", "D1", "C", 10.0, 2, "2025-01-01"),
        ),
        orders(("O1", "north", "D1", 4, "2025-07-28")),
    )

    row = spares.iloc[0]
    assert (row["stock"], row["usable_stock"], row["on_order"]) == (9, 3, 4)
    assert weekly["stock"].iloc[7] == 3
    assert weekly["stock"].iloc[8] == 7
    assert "3 of 9 in store fit, 4 on order" in row["reason"]


def test_table_carries_the_parts_and_quantiles():
    spares, weekly = plan(stock())
    row = spares.iloc[0]

    assert row["weeks"] == 52
    assert row["mean"] == pytest.approx(13.0)
    assert (row["p50"], row["p90"], row["p95"]) == tuple(poisson.ppf([0.5, 0.9, 0.95], 13.0))
    assert row["premature"] == pytest.approx(13.0)
    assert weekly["week_start"].iloc[1] == TODAY + pd.Timedelta(days=7)
    assert len(weekly) == 105


def test_order_by_is_a_date_also_when_nothing_is_needed():
    late, _ = plan(stock())
    ample, _ = plan(stock(("north", "D1", "A", 10.0, 60, None)), group=steady(0.1))

    # Nothing held and an 8 weeks' lead time: it should have been ordered 8 weeks ago.
    assert late["order_by"].iloc[0] == TODAY - pd.Timedelta(weeks=8)
    assert late["order_now"].iloc[0]
    # 104 weeks were looked at, 8 of them are the lead time.
    assert ample["order_by"].iloc[0] == TODAY + pd.Timedelta(weeks=96)
    assert ample["order_quantity"].iloc[0] == 0
    assert "8 weeks late, so order now" in late["reason"].iloc[0]


def test_highest_criticality_rules_and_a_blank_one_counts_as_highest():
    mixed = positions()
    mixed["criticality"] = ["C", "B", None, "C"]

    spares, _ = plan(stock(), places=mixed)

    assert spares["criticality"].iloc[0] == "A"
    assert spares["target"].iloc[0] == 0.99


def test_overdue_order_counts_as_next_week():
    _, weekly = plan(stock(), orders(("O1", "north", "D1", 4, "2025-01-01")))

    assert weekly["stock"].iloc[0] == 0
    assert weekly["stock"].iloc[1] == 4


def test_lead_time_of_zero_and_blank_are_planned_all_the_same():
    zero, _ = plan(stock(("north", "D1", "A", 10.0, 2, None)), table=discs(lead_time_weeks=0.0))
    blank, _ = plan(
        stock(("north", "D1", "A", 10.0, 2, None)),
        table=discs(lead_time_weeks=np.nan, lead_time_sd_weeks=np.nan),
    )

    assert zero["reorder_point"].iloc[0] <= 2
    assert "8 weeks assumed" in blank["reason"].iloc[0]


def test_missing_price_leaves_the_cost_blank():
    spares, _ = plan(stock(), table=discs(unit_price=np.nan))

    assert spares["order_quantity"].iloc[0] > 0
    assert np.isnan(spares["cost"].iloc[0])


def test_a_gap_that_an_open_order_closes_first_asks_for_haste_not_for_more():
    # Nothing held, ten pieces due in week 6, a new order would take 8 weeks.
    supply = Supply(arrivals=((6, 10),))

    case = plan_group(steady(0.25), supply, TERMS, "B", Settings())

    assert not case.order_now
    assert case.out_week == 1
    assert case.service == pytest.approx(poisson.cdf(10, 2.0))
    assert "may run out in week 1, before what is under way" in reason(case)


def test_an_open_order_that_comes_later_than_a_new_one_does_not_count():
    supply = Supply(arrivals=((30, 10),))

    assert plan_group(steady(0.25), supply, TERMS, "B", Settings()).order_now


def test_moved_pieces_stand_in_for_an_order():
    places = pd.concat([positions(), positions(store="south")], ignore_index=True)
    pieces = stock(("central", "D1", "A", 10.0, 9, None), ("south", "D1", "B", 10.0, 6, None))
    groups = forecast(steady(0.25), steady(0.02, store="south"))
    matching = match_stock(pieces, places, discs(), TODAY)
    plain, _ = plan_stock(groups, matching, orders(), places, discs(), TODAY)

    moves = transfers(plain, pieces, places, discs(), TODAY)
    spares, weekly = plan_stock(groups, matching, orders(), places, discs(), TODAY, moves=moves)

    assert plain["order_now"].tolist() == [True, False]
    assert spares["order_now"].tolist() == [False, False]
    assert spares["move_in"].tolist() == [plain["reorder_point"].iloc[0], 0]
    assert spares["reason"].iloc[0].startswith("move 5 from central; ")
    given = int(moves.loc[moves["from_store"] == "south", "pieces"].sum())
    assert spares["usable_stock"].iloc[1] == 6 - given
    north = weekly[weekly["store"] == "north"]["stock"]
    assert (north.iloc[0], north.iloc[1]) == (0, 5)
