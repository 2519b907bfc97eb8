"""Tables as read and as taken away: units, headings, rows on demand, and no formula."""

import csv
import io

import numpy as np
import openpyxl
import pandas as pd
import pytest
from sample import empty_findings, sample_findings

from dashboard.callbacks.rows import slice_of
from dashboard.components.tables import records
from dashboard.export import file_of
from dashboard.reading import AgeUnit, PressureUnit, Units
from dashboard.selection import Selection
from dashboard.table_list import TABLES
from dashboard.tables import shown
from dashboard.view import View

SAMPLE = sample_findings()
VIEW = View(whole=SAMPLE, findings=SAMPLE, selection=Selection())
IMPERIAL = Units(pressure=PressureUnit.PSI, age=AgeUnit.YEARS)


@pytest.mark.parametrize("key", TABLES)
def test_every_table_has_rows_in_the_sample_and_unique_headings(key: str):
    table = TABLES[key]
    read = shown(table, table.rows(SAMPLE), Units(), "EUR")

    assert len(read) > 0
    assert read.columns.is_unique
    assert len(read.columns) >= 3


@pytest.mark.parametrize("key", TABLES)
def test_every_table_stands_empty_without_breaking(key: str):
    table = TABLES[key]

    assert shown(table, table.rows(empty_findings()), Units(), "EUR").empty


def test_units_change_numbers_and_headings_together():
    # NIST SP 811, B.8: 1 psi = 6.894757 kPa, so 1 bar = 14.50377 psi (seven digits).
    duty = pd.DataFrame({"margin_bar": [1.0]})
    psi = shown(TABLES["duty"], duty, IMPERIAL, "EUR")
    kpa = shown(TABLES["duty"], duty, Units(pressure=PressureUnit.KPA), "EUR")

    assert psi["Margin [psi]"].item() == pytest.approx(14.50377, abs=5e-6)
    assert kpa["Margin [kPa]"].item() == pytest.approx(100.0)


def test_ages_follow_the_reader():
    ages = pd.DataFrame({"age_months": [18.0], "age_low": [12.0], "age_high": [24.0]})
    read = shown(TABLES["intervals"], ages, IMPERIAL, "EUR")

    assert read.iloc[0].tolist() == [1.5, 1.0, 2.0]
    assert list(read) == [
        "Replace at age [years]",
        "Replace at age, from [years]",
        "Replace at age, to [years]",
    ]


def test_order_list_holds_exactly_what_is_to_be_ordered_most_urgent_first():
    table = TABLES["order-this-week"]
    rows = table.rows(SAMPLE)

    assert rows["order_now"].all()
    assert len(rows) == SAMPLE.spares["order_now"].sum()
    assert rows["order_by"].is_monotonic_increasing


NASTY = ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "=HYPERLINK(1)", "plain", "-0.5"]


def test_no_exported_text_can_run_as_a_formula():
    frame = pd.DataFrame({"text": NASTY, "number": np.arange(len(NASTY)) - 2.5})
    rows = list(csv.reader(io.StringIO(file_of(frame, "csv").decode("utf-8-sig"))))[1:]
    sheet = openpyxl.load_workbook(io.BytesIO(file_of(frame, "xlsx"))).active

    for text, _ in rows:
        assert text[:1] not in set("=+@\t-") or text == "-0.5"
    for row in sheet.iter_rows(min_row=2):
        assert row[0].data_type == "s"
        assert row[1].data_type == "n"


def test_records_carry_no_nan_and_iso_days():
    frame = pd.DataFrame({"a": [1.5, np.nan], "d": pd.to_datetime(["2025-03-01", None])})

    assert records(frame) == [{"a": 1.5, "d": "2025-03-01"}, {"a": None, "d": None}]


def asked(**request: object) -> dict[str, object]:
    return slice_of(TABLES["lives"], VIEW, {"startRow": 0, "endRow": 100, **request})


def test_slice_gives_the_rows_asked_for_and_the_count_of_all():
    got = asked(startRow=10, endRow=30)

    assert len(got["rowData"]) == 20
    assert got["rowCount"] == len(SAMPLE.lives)
    assert got["rowData"][0]["life_id"] == SAMPLE.lives["life_id"].iloc[10]


def test_slice_sorts_in_the_readers_units():
    got = asked(sortModel=[{"colId": "lower_years", "sort": "desc"}])
    ages = [row["lower_years"] for row in got["rowData"]]

    assert ages == sorted(ages, reverse=True)
    assert ages[0] == pytest.approx(12 * SAMPLE.lives["lower_years"].max())


@pytest.mark.parametrize(
    ("key", "rule", "keeps"),
    [
        ("site", {"filterType": "text", "type": "equals", "filter": "millbank"}, "Millbank"),
        ("site", {"filterType": "text", "type": "contains", "filter": "water"}, "Northwater"),
        ("site", {"filterType": "text", "type": "startsWith", "filter": "har"}, "Harbour End"),
    ],
)
def test_slice_filters_texts(key: str, rule: dict[str, object], keeps: str):
    got = asked(filterModel={key: rule})

    assert {row[key] for row in got["rowData"]} == {keeps}
    assert got["rowCount"] == (SAMPLE.lives[key] == keeps).sum()


def test_slice_filters_numbers():
    rule = {"filterType": "number", "type": "inRange", "filter": 12, "filterTo": 24}
    got = asked(filterModel={"lower_years": rule})

    assert got["rowCount"] == SAMPLE.lives["lower_years"].between(1, 2).sum()


@pytest.mark.parametrize(
    "request_",
    [
        {"sortModel": "x", "filterModel": [1]},
        {"sortModel": [{"colId": "no such"}], "filterModel": {"no such": {}}},
        {
            "filterModel": {
                "site": {"type": "regex", "filter": "("},
                "cost": {"filterType": "number"},
            }
        },
        {"startRow": -5, "endRow": "many"},
        {"startRow": 1e9, "endRow": 2e9},
    ],
)
def test_slice_bears_any_request(request_: dict[str, object]):
    got = slice_of(TABLES["lives"], VIEW, request_)

    assert got["rowCount"] == len(SAMPLE.lives)


def test_slice_never_gives_more_than_its_most():
    assert len(asked(startRow=0, endRow=1_000_000)["rowData"]) <= 500
