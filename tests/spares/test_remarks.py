import numpy as np
import pandas as pd
from stock_cases import TODAY, discs, orders, positions, stock

from analytics.spares.remarks import stock_remarks


def remarks(**changes) -> pd.DataFrame:
    tables = {"stock": stock(), "orders": orders(), "positions": positions(), "discs": discs()}
    return stock_remarks(**(tables | changes), today=TODAY)


def words(frame: pd.DataFrame) -> list[str]:
    return frame["what"].tolist()


def test_clean_records_need_no_remark():
    found = remarks(
        stock=stock(("north", "D1", "A", 10.0, 3, "2030-01-01")),
        orders=orders(("O1", "north", "D1", 2, "2025-09-01")),
    )

    assert found.empty
    assert list(found.columns) == ["what", "store", "disc_code", "detail", "mend"]


def test_negative_stock_is_named_with_its_figure():
    found = remarks(stock=stock(("north", "D1", "A", 10.0, -3, None)))

    assert words(found) == ["negative stock"]
    assert "got -3; counted as 0" in found["detail"].iloc[0]


def test_expired_pieces_and_overdue_orders_are_dated():
    found = remarks(
        stock=stock(("north", "D1", "A", 10.0, 2, "2025-05-01")),
        orders=orders(("O9", "north", "D1", 5, "2025-03-01")),
    )

    assert words(found) == ["expired stock", "overdue order"]
    assert "2 pieces expired on 2025-05-01" in found["detail"].iloc[0]
    assert "order O9 for 5 was due on 2025-03-01" in found["detail"].iloc[1]


def test_unknown_store_and_unused_code_are_kept_apart():
    table = pd.concat([discs(), discs(disc_code="D2")])
    found = remarks(
        discs=table,
        stock=stock(("nowhere", "D1", "A", 10.0, 1, None), ("north", "D2", "B", 10.0, 1, None)),
        orders=orders(("O1", "north", "D7", 1, "2025-09-01")),
    )

    assert list(zip(found["what"], found["store"], found["disc_code"], strict=True)) == [
        ("unknown store", "nowhere", ""),
        ("unused code", "north", "D2"),
        ("undeclared code", "north", "D7"),
    ]


def test_lead_times_of_zero_and_blank_are_named():
    zero = remarks(discs=discs(lead_time_weeks=0.0))
    blank = remarks(discs=discs(lead_time_weeks=np.nan))

    assert words(zero) == ["lead time zero"]
    assert words(blank) == ["lead time not on record"]


def test_positions_without_store_or_code_are_counted():
    places = positions()
    places.loc[0, "store"] = None
    places.loc[1, "disc_code"] = "D5"

    found = remarks(positions=places)

    assert words(found) == ["no store", "undeclared code"]
    assert "1 positions name no store" in found["detail"].iloc[0]


def test_no_remark_changes_the_tables():
    table = stock(("north", "D1", "A", 10.0, -3, None))
    before = table.copy()

    remarks(stock=table)

    pd.testing.assert_frame_equal(table, before)
