import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.logs.reading import read_logs
from analytics.logs.tables import TABLES


def test_clean_logs_are_all_accepted_and_typed(plant):
    logs = read_logs(plant())

    assert logs.rows["read"].tolist() == [3, 2, 4, 1]
    assert logs.quarantine.empty
    assert logs.notes == ()
    assert logs.present == {"positions", "discs", "installs", "removals"}
    removal = logs.tables["removals"].iloc[0]
    assert removal["found_on"] == pd.Timestamp("2021-04-03")
    assert removal["remarks"] == "seat dirty, cleaned"
    assert removal["peak_pressure_barg"] == 7.2
    assert removal["last_good_on"] is pd.NaT
    assert removal["event_group"] is None
    assert logs.tables["installs"]["seat_clean"].tolist()[:2] == [True, False]
    assert logs.tables["installs"]["seat_clean"].isna().tolist() == [False, False, True, False]


def test_absent_tables_have_every_column_and_no_row(plant):
    tables = read_logs(plant(removals=None)).tables

    for name, table in TABLES.items():
        declared = [column.internal_name for column in table.columns]
        assert list(tables[name]) == [*declared, "source_file", "source_line"]
    assert tables["removals"].empty
    assert tables["removals"]["found_on"].dtype == "datetime64[ns]"
    assert tables["stock"]["quantity"].dtype == "Int64"


def test_a_missing_folder_and_missing_tables_are_one_line(tmp_path, plant):
    with pytest.raises(InputError, match="no log folder at"):
        read_logs(tmp_path / "none")
    with pytest.raises(InputError, match="tables missing in .*: discs, installs; each needs"):
        read_logs(plant(discs=None, installs=None))


def test_every_missing_column_and_unit_is_named_at_once(plant):
    folder = plant(
        discs="disc_code,specified_burst_pressure [bar]\nD-10,10\n",
        removals="removal_id,position_id,found_on,peak_pressure\nR-1,P-1,2021-01-01,7\n",
    )
    (folder / "stock.csv").write_text("")
    with pytest.raises(InputError) as caught:
        read_logs(folder)

    line = str(caught.value)
    assert "\n" not in line
    assert "discs.csv: required columns missing: family" in line
    assert "say gauge or absolute: barg or bara" in line
    assert "removals.csv: required columns missing: reason" in line
    assert "column peak_pressure needs its unit" in line
    assert "stock.csv is empty" in line
    assert "--propose" in line


def test_a_historian_is_noticed(plant):
    folder = plant()
    assert "pressure" not in read_logs(folder).present
    (folder / "pressure").mkdir()
    assert "pressure" not in read_logs(folder).present
    (folder / "pressure" / "P-1.csv").write_text("position_id,time,pressure [barg]\n")
    assert "pressure" in read_logs(folder).present
