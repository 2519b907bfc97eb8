"""What in the stock records needs a second look? Nothing is dropped, everything is said."""

import numpy as np
import pandas as pd

__all__ = ["stock_remarks"]

Remark = tuple[str, str, str, str, str]

_COLUMNS = ["what", "store", "disc_code", "detail", "mend"]


def stock_remarks(
    stock: pd.DataFrame,
    orders: pd.DataFrame,
    positions: pd.DataFrame,
    discs: pd.DataFrame,
    today: pd.Timestamp,
) -> pd.DataFrame:
    """List what the stock, the orders and the terms of purchase leave in doubt.

    Parameters
    ----------
    stock, orders, positions, discs : DataFrame
        Checked logs.
    today : Timestamp
        Date of the question.

    Returns
    -------
    DataFrame
        `what store disc_code detail mend`, one row per remark: negative stock,
        expired pieces, overdue orders, stores that supply no position, codes
        that no position uses or that are not declared, positions without a
        store, lead times of zero or not on record.
    """
    remarks = [
        *_stock_rows(stock, today),
        *_order_rows(orders, today),
        *_strangers(stock, orders, positions, discs),
        *_terms(positions, discs),
    ]
    return pd.DataFrame(remarks, columns=_COLUMNS)


def _stock_rows(stock: pd.DataFrame, today: pd.Timestamp) -> list[Remark]:
    rows: list[Remark] = []
    for row in stock.to_dict("records"):
        if not pd.isna(row["quantity"]) and row["quantity"] < 0:
            detail = f"quantity must be >= 0, got {row['quantity']}; counted as 0"
            mend = "count the bin and correct the record"
            rows.append(("negative stock", row["store"], row["disc_code"], detail, mend))
        if not pd.isna(row["expires_on"]) and row["expires_on"] < today:
            detail = (
                f"{row['quantity']} pieces expired on {row['expires_on']:%Y-%m-%d}; not counted"
            )
            mend = "have them inspected and recertified by the maker, or scrap them"
            rows.append(("expired stock", row["store"], row["disc_code"], detail, mend))
    return rows


def _order_rows(orders: pd.DataFrame, today: pd.Timestamp) -> list[Remark]:
    late = orders[orders["due_on"] < today]
    return [
        (
            "overdue order",
            row["store"],
            row["disc_code"],
            f"order {row['order_id']} for {row['quantity']} was due on {row['due_on']:%Y-%m-%d}; "
            "counted as arriving next week",
            "ask the supplier for a date, or book the receipt",
        )
        for row in late.to_dict("records")
    ]


def _strangers(
    stock: pd.DataFrame, orders: pd.DataFrame, positions: pd.DataFrame, discs: pd.DataFrame
) -> list[Remark]:
    stores, used = set(positions["store"].dropna()), set(positions["disc_code"])
    declared = set(discs["disc_code"])
    held = pd.concat([stock[["store", "disc_code"]], orders[["store", "disc_code"]]])
    rows: list[Remark] = []
    for store, codes in held[~held["store"].isin(stores)].groupby("store")["disc_code"]:
        detail = f"supplies no position; holds or expects {codes.nunique()} codes"
        mend = "taken for a central store whose pieces any store may have; else correct the name"
        rows.append(("unknown store", str(store), "", detail, mend))
    for store, code in held.drop_duplicates().itertuples(index=False):
        if code not in declared:
            mend = "declare the code in discs"
            rows.append(("undeclared code", store, code, "no row in discs", mend))
        elif code not in used:
            mend = "check for a position left out, else sell or scrap"
            rows.append(("unused code", store, code, "no position takes this code", mend))
    homeless = int(positions["store"].isna().sum())
    if homeless:
        detail = f"{homeless} positions name no store; their demand is nobody's"
        rows.append(("no store", "", "", detail, "fill in `store` in positions"))
    return rows


def _terms(positions: pd.DataFrame, discs: pd.DataFrame) -> list[Remark]:
    used = discs[discs["disc_code"].isin(positions["disc_code"])]
    lead = used["lead_time_weeks"].to_numpy(dtype=float)
    blank = np.isnan(lead)
    words = [
        (
            "lead time not on record" if empty else "lead time zero",
            "",
            code,
            "8 weeks are assumed" if empty else "taken at its word: an order is there at once",
            "ask the supplier and fill in `lead_time_weeks`",
        )
        for code, empty in zip(
            used["disc_code"][blank | (lead == 0)], blank[blank | (lead == 0)], strict=True
        )
    ]
    asked = positions["disc_code"].value_counts()
    missing = [
        (
            "undeclared code",
            "",
            code,
            f"{count} positions ask for it, discs does not hold it; 8 weeks to receipt assumed",
            "add it to discs, with price and lead time",
        )
        for code, count in asked[~asked.index.isin(discs["disc_code"])].sort_index().items()
    ]
    return [*words, *missing]
