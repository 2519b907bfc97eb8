from datetime import date, datetime
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.logs.files import read_file
from analytics.logs.reading import read_logs
from analytics.logs.settings import Settings

HEADER = ["store", "disc_code", "lot", "quantity", "received_on"]


def write_book(path: Path, sheets: dict[str, list[list]]) -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)


def test_a_workbook_gives_typed_cells_as_text_and_its_row_numbers(plant):
    folder = plant()
    rows = [
        HEADER,
        ["Main", "D-10", "0012", 3, date(2021, 4, 3)],
        [],
        ["Main", "D-10", 12, 4.0, datetime(2021, 4, 3, 13, 5)],
        ["Main", "D-10", "1E5", -1, "03/04/2021"],
    ]
    write_book(folder / "stock.xlsx", {"stock": rows})
    logs = read_logs(folder)

    stock = logs.tables["stock"]
    assert stock["lot"].tolist() == ["0012", "12"]
    assert stock["received_on"].tolist() == [pd.Timestamp("2021-04-03")] * 2
    assert stock["source_line"].tolist() == [2, 4]
    assert sorted(logs.quarantine["reason"]) == ["ambiguous_date", "too_small"]
    assert set(logs.quarantine["line"]) == {5}


def test_typed_cells_follow_the_declared_marks_so_that_none_is_misread(plant):
    toml = 'date_format = "%Y-%d-%m"\ndecimal = ","\n'
    folder = plant(removals=None, toml=toml + '[formats.installs]\ndate_format = "%Y-%m-%d"\n')
    for name in ("positions", "discs", "installs"):
        text = (folder / f"{name}.csv").read_text()
        (folder / f"{name}.csv").write_text(
            text.replace("7.5", '"7,5"').replace("7.0", '"7,0"').replace("9.9", '"9,9"')
            .replace("10.1", '"10,1"').replace("20.0", '"20,0"').replace("10.0", '"10,0"')
        )  # fmt: skip
    write_book(
        folder / "removals.xlsx",
        {
            "removals": [
                ["removal_id", "position_id", "found_on", "reason", "cost"],
                ["R-1", "P-1", date(2021, 4, 3), "burst", 1.234],
                ["R-2", "P-1", "2021-03-05", "burst", "1,234"],
            ]
        },
    )
    removals = read_logs(folder).tables["removals"]

    assert removals["found_on"].tolist() == [pd.Timestamp("2021-04-03"), pd.Timestamp("2021-05-03")]
    assert removals["cost"].tolist() == [1.234, 1.234]


def test_the_sheet_is_named_or_single_and_never_guessed(plant):
    folder = plant()
    good = [HEADER, ["Main", "D-10", "L", 3, None]]
    write_book(folder / "stock.xlsx", {"Notes": [["x"]], "Stock": good})
    assert len(read_logs(folder).tables["stock"]) == 1

    write_book(folder / "stock.xlsx", {"Notes": [["x"]], "Sheet2": good})
    with pytest.raises(InputError, match="holds the sheets Notes, Sheet2; name the sheet"):
        read_logs(folder)

    (folder / "logs.toml").write_text('[sources]\nstock = ["stock.xlsx#Sheet2"]\n')
    assert len(read_logs(folder).tables["stock"]) == 1


def test_files_of_no_table_are_named(plant):
    folder = plant()
    (folder / "valves.csv").write_text("a\n1\n")
    (folder / "old.xls").write_bytes(b"x")
    (folder / "notes.md").write_text("x")

    assert "those of no table: old.xls, valves.csv;" in read_logs(folder).notes[0]


def test_a_declared_source_that_is_not_there_is_named(plant):
    with pytest.raises(InputError, match="files that are not there: pieces.csv"):
        read_logs(plant(toml='[sources]\nstock = ["pieces.csv"]\n'))


def test_parquet_reads_like_the_same_rows_as_csv(plant, tmp_path):
    folder = plant()
    expected = read_logs(folder).tables["installs"]
    frame = pd.read_csv(folder / "installs.csv", dtype={"seat_clean": "object"})
    frame["installed_on"] = pd.to_datetime(frame["installed_on"])
    frame["seat_clean"] = frame["seat_clean"].map({"yes": True, "no": False})
    (folder / "installs.csv").unlink()
    frame.to_parquet(folder / "installs.parquet")
    found = read_logs(folder).tables["installs"]

    places = ["source_file", "source_line"]
    pd.testing.assert_frame_equal(found.drop(columns=places), expected.drop(columns=places))


def test_a_text_in_a_workbook_never_becomes_a_formula_or_number(tmp_path):
    write_book(tmp_path / "x.xlsx", {"a": [["lot"], ["0012"], [True], ["NA"], [0.1]]})
    raw = read_file(tmp_path / "x.xlsx", Settings(), sheets=[], known=len)

    assert raw.columns[0].to_pylist() == ["0012", "yes", "NA", "0.1"]
