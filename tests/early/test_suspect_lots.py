import pandas as pd

from analytics.early.suspect_lots import BIN, POSITION, lot_places, what_else
from analytics.installs.checklist import DEFECTS

SOUND = {name: True for name in DEFECTS}


def life(lot, position, ending, ended="2024-01-01", **changes):
    return {
        "lot": lot, "position_id": position, "store": "north", "disc_code": "D", "unit": position,
        "crew": f"crew of {position}", "ending": ending, "ended_on": pd.Timestamp(ended),
        "installed_on": pd.Timestamp("2022-03-01"), **SOUND, **changes,
    }  # fmt: skip


def stock(*rows):
    frame = pd.DataFrame(rows, columns=["lot", "store", "disc_code", "quantity"])
    return frame.assign(
        quantity=frame["quantity"].astype("Int64"), received_on=pd.Timestamp("2022-01-01")
    )


LOTS = pd.DataFrame({"lot": ["B", "A"], "suspect": [True, False]})


def test_every_bin_and_every_position_of_a_suspect_lot_and_no_other():
    lives = pd.DataFrame(
        [
            life("B", "P1", "in_service"),
            life("B", "P2", "premature"),
            life("B", "P3", "in_service"),
            life("A", "P4", "in_service"),
        ]
    )
    shelves = stock(("B", "north", "D", 3), ("B", "south", "D", 1), ("B", "east", "D", 0))
    places = lot_places(LOTS, lives, pd.concat([shelves, stock(("A", "north", "D", 9))]))
    assert places[["store", "position_id", "pieces"]].values.tolist() == [
        ["north", "", 3],
        ["south", "", 1],
        ["north", "P1", 1],
        ["north", "P3", 1],
    ]
    assert places["action"].tolist() == [BIN, BIN, POSITION, POSITION]
    assert places["since"].dt.year.eq(2022).all()


def test_no_stock_table_and_nothing_running_is_no_place():
    lives = pd.DataFrame([life("B", "P1", "premature")])
    assert lot_places(LOTS, lives, stock()).empty


def test_what_the_failures_share_is_named():
    failed = [life("B", "P1", "premature", f"2024-0{i}-01", crew=f"c{i}") for i in (1, 3, 5)]
    running = [life("B", f"P{i}", "in_service") for i in range(2, 9)]
    said = what_else("B", pd.DataFrame(failed + running))
    assert "3 of its 3 failures share position P1" in said
    assert "crew" not in said


def test_one_upset_and_unclear_endings_and_defects_are_named():
    failed = [
        life("B", "P1", "unclear", "2024-01-01"),
        life("B", "P2", "premature", "2024-01-02", seat_clean=False),
        life("B", "P3", "premature", "2024-01-03"),
    ]
    said = what_else("B", pd.DataFrame(failed))
    assert "3 of its 3 failures came within 3 days" in said
    assert "1 of its 3 endings are unclear" in said
    assert "1 of its 3 failures had a defect" in said


def test_where_nothing_is_shared_it_is_said():
    failed = [life("B", f"P{i}", "premature", f"202{i}-01-01") for i in (1, 2, 3)]
    assert what_else("B", pd.DataFrame(failed)).startswith("the record shows nothing else")
