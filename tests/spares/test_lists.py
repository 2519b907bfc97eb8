import pandas as pd
from stock_cases import TODAY, discs, forecast, orders, positions, steady, stock

from analytics.spares.lists import due_in_turnarounds, planner_lists
from analytics.spares.matching import match_stock
from analytics.spares.pooling import transfers
from analytics.spares.stock import plan_stock


def turnarounds(*rows) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["turnaround_group", "starts_on"])
    return frame.assign(starts_on=pd.to_datetime(frame["starts_on"]))


def lists(pieces, places, table, due):
    groups = forecast(*[steady(0.2, store=name) for name in sorted(set(places["store"]))])
    matching = match_stock(pieces, places, table, TODAY)
    spares, _ = plan_stock(groups, matching, orders(), places, table, TODAY)
    moves = transfers(spares, pieces, places, table, TODAY)
    return planner_lists(groups, spares, matching, moves, table, due, TODAY)


def test_planned_weeks_find_their_turnaround_and_others_are_left_out():
    places = positions(3).assign(turnaround_group=["autumn", "spring", None])
    outages = turnarounds(("autumn", "2025-10-06"), ("spring", "2026-03-05"))

    due = due_in_turnarounds(places, [(18,), (18, 40), (18,)], outages, TODAY)

    assert due[["turnaround_group", "starts_on"]].to_numpy().tolist() == [
        ["autumn", pd.Timestamp("2025-10-06")],
        ["spring", pd.Timestamp("2026-03-05")],
    ]


def test_every_list_is_filled_from_one_plan():
    places = pd.concat([positions(), positions(store="south")], ignore_index=True)
    pieces = stock(("central", "D1", "A", 10.0, 3, None), ("south", "D1", "B", 12.0, 2, None))
    due = pd.DataFrame(
        [("autumn", pd.Timestamp("2025-10-06"), "north", "D1")] * 2,
        columns=["turnaround_group", "starts_on", "store", "disc_code"],
    )

    found = lists(pieces, places, discs(), due)

    assert found.moves["from_store"].unique().tolist() == ["central"]
    assert found.moves["pieces"].sum() == 3
    assert found.kits["needed"].tolist() == [3]
    assert found.dead["lot"].tolist() == ["B"]
    assert found.pooled["saved"].iloc[0] > 0
    assert found.budget["service"].is_monotonic_increasing


def test_codes_without_a_price_are_left_out_of_the_budget():
    due = pd.DataFrame(columns=["turnaround_group", "starts_on", "store", "disc_code"])

    found = lists(stock(), positions(), discs(unit_price=float("nan")), due)

    assert len(found.budget) == 1
    assert found.kits.empty
