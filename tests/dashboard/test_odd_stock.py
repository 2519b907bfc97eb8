"""What a planner reads when stock, orders and terms are wrong: the whole job, then the page."""

import json

import pandas as pd
import pytest
from plotly.utils import PlotlyJSONEncoder

from analytics.findings_json import findings_json
from analytics.job import run
from dashboard.pages.storeroom import page
from dashboard.selection import Selection
from dashboard.view import View
from datasets.reference.valve_seats import LAST_DAY, write_valve_seat_logs


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """The published valve seat log with a stock and orders in which every row is odd."""
    folder = tmp_path_factory.mktemp("odd-stock")
    write_valve_seat_logs(folder)
    stock = [
        ("depot", "valve-seat", "A", 10, "-3"),
        ("depot", "valve-seat", "B", 10, "4"),
        ("depot", "forgotten-seat", "C", 10, "5"),
        ("shed", "valve-seat", "D", 10, "2"),
    ]
    columns = ["store", "disc_code", "lot", "marked_burst_pressure [barg]", "quantity"]
    pd.DataFrame(stock, columns=columns).to_csv(folder / "stock.csv", index=False)
    late = pd.Timestamp(LAST_DAY) - pd.Timedelta(days=40)
    orders = [("PO-1", "depot", "valve-seat", 6, f"{late:%Y-%m-%d}")]
    columns = ["order_id", "store", "disc_code", "quantity", "due_on"]
    pd.DataFrame(orders, columns=columns).to_csv(folder / "orders.csv", index=False)
    discs = pd.read_csv(folder / "discs.csv", dtype=str).assign(lead_time_weeks="0")
    unused = pd.DataFrame([{"disc_code": "forgotten-seat", "family": "other"}])
    pd.concat([discs, unused]).to_csv(folder / "discs.csv", index=False)
    positions = pd.read_csv(folder / "positions.csv", dtype=str)
    positions.loc[0, "disc_code"] = "undeclared-seat"
    positions.to_csv(folder / "positions.csv", index=False)
    return run(folder)


ODD = {
    "negative stock": ("row of stock set aside", "quantity must be", "got -3", "not counted"),
    "order due in the past": ("overdue order", "PO-1", "counted as arriving next week"),
    "lead time of zero": ("lead time zero", "valve-seat", "at once"),
    "unknown store": ("unknown store", "shed", "supplies no position"),
    "code nobody uses": ("unused code", "forgotten-seat", "no position takes this code"),
    "code not declared": ("undeclared code", "undeclared-seat", "8 weeks to receipt assumed"),
}


@pytest.mark.parametrize("words", ODD.values(), ids=ODD)
def test_each_odd_row_is_a_finding_with_its_mend(found, words):
    rows = found.stock_remarks.fillna("").astype(str)
    said = rows.agg(" · ".join, axis=1)

    (row,) = [text for text in said if all(word in text for word in words)]
    assert rows.loc[said[said == row].index[0], "mend"] != ""
    # Beside the table: in findings.json, and on the storeroom's own page.
    assert words[0] in findings_json(found)
    assert all(word in shown(found) for word in words[1:])


def test_nothing_is_dropped(found):
    counted = found.rows.set_index("table")
    assert counted.loc["stock", ["read", "accepted", "quarantined"]].tolist() == [4, 3, 1]
    assert counted.loc["orders", ["read", "accepted", "quarantined"]].tolist() == [1, 1, 0]
    (depot,) = found.spares[found.spares["disc_code"] == "valve-seat"].to_dict("records")
    assert (depot["stock"], depot["on_order"]) == (4, 6)
    dead = found.dead_stock.set_index("disc_code")["quantity"]
    assert dead["forgotten-seat"] == 5
    # The code that no row of discs declares is planned all the same.
    assert "undeclared-seat" in set(found.spares["disc_code"])


def shown(findings) -> str:
    view = View(whole=findings, findings=findings, selection=Selection())
    return json.dumps(page(view).to_plotly_json(), cls=PlotlyJSONEncoder, ensure_ascii=False)
