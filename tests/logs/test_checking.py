import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.logs.reading import read_logs
from analytics.units import BAR_PER_PSI

HEAD = "removal_id,position_id,found_on,last_good_on,reason,upset,peak_pressure [barg],cost\n"


def reasons(logs) -> dict[int, list[str]]:
    return logs.quarantine.groupby("line")["reason"].apply(list).to_dict()


def check_sums(logs):
    assert (logs.rows["accepted"] + logs.rows["quarantined"] == logs.rows["read"]).all()


def test_each_impossible_row_is_held_back_with_its_reason_and_raw_text(plant):
    rows = {
        "R-1,P-1,2021-04-03,2021-03-01,burst,no,7.2,100": [],
        "R-2,P-1,2021-04-04,2021-05-01,burst,no,7.2,100": ["wrong_order"],
        "R-3,P-1,2031-04-04,,burst,no,7.2,100": ["after_export"],
        "R-4,P-1,2021-04-05,,blown,maybe,7.2,100": ["unknown_word", "unknown_word"],
        "R-5,P-1,2021-04-06,,burst,no,1e9,100": ["too_large"],
        "R-6,P-1,2021-04-07,,burst,no,-3,100": ["too_small"],
        "R-7,P-9,2021-04-08,,burst,no,7.2,100": ["unknown_position"],
        ",P-1,2021-04-09,,burst,no,7.2,100": ["blank"],
        "R-8,P-1,03/04/2021,,burst,no,7.2,100": ["ambiguous_date"],
        'R-9,P-1,2021-04-10,,burst,no,7.2,"1,234"': ["ambiguous_number"],
        "R-1,P-1,2021-04-03,2021-03-01,burst,no,7.20,100.0": ["duplicate_row"],
        "R-1,P-1,2021-04-03,2021-03-01,leak,no,7.2,100": ["duplicate_key"],
        "R-1,P-2,2021-04-03,2021-03-01,burst,no,7.2,100": ["one_order_several_positions"],
        "R-10,P-1,2021-04-11,,burst,no,7.2": ["broken_row"],
        "R-11,P-1,2021-04-12,,burst,no,7.2,100,extra": ["broken_row"],
        "R-12,P-1,2021-04-13,,burst,no,7.2,-1": ["too_small"],
    }
    folder = plant(removals=HEAD + "\n".join(rows) + "\n", toml="export_date = 2024-01-01\n")
    logs = read_logs(folder)

    check_sums(logs)
    found = reasons(logs)
    for line, (raw, expected) in enumerate(rows.items(), start=2):
        assert sorted(found.get(line, [])) == sorted(expected), raw
        assert set(logs.quarantine.loc[logs.quarantine["line"] == line, "raw"]) <= {raw}
    assert logs.tables["removals"]["removal_id"].tolist() == ["R-1"]
    assert (logs.quarantine["mend"].str.len() > 5).all()
    assert (logs.quarantine["required"].str.len() > 5).all()
    removals = logs.rows.set_index("table").loc["removals"]
    assert (removals["read"], removals["accepted"], removals["quarantined"]) == (16, 1, 15)


def test_units_come_from_header_settings_or_row(plant):
    text = (
        "removal_id,position_id,found_on,reason,peak_pressure [psig],peak_pressure_unit\n"
        "R-1,P-1,2021-04-03,burst,100,\n"
        "R-2,P-1,2021-05-03,burst,7,barg\n"
        "R-3,P-1,2021-06-03,burst,8.01325,bara\n"
        "R-4,P-1,2021-07-03,burst,7,bar\n"
        "R-5,P-1,2021-08-03,burst,,bar\n"
    )
    logs = read_logs(plant(removals=text))

    peaks = logs.tables["removals"].set_index("removal_id")["peak_pressure_barg"]
    assert peaks["R-1"] == pytest.approx(100 * BAR_PER_PSI, rel=1e-12)
    assert peaks["R-2"] == 7.0
    assert peaks["R-3"] == pytest.approx(7.0, abs=1e-12)
    assert np.isnan(peaks["R-5"])
    assert reasons(logs) == {5: ["unknown_unit"]}

    # What logs.toml states holds where the header has no unit of ours, and nowhere else.
    toml = '[units.removals]\npeak_pressure = "kPag"\n'
    for header, barg in (("[psi]", 1.0), ("", 1.0), ("[psig]", 100 * BAR_PER_PSI)):
        logs = read_logs(plant(removals=text.replace("[psig]", header), toml=toml))
        assert logs.tables["removals"]["peak_pressure_barg"][0] == pytest.approx(barg)


@pytest.mark.parametrize("word", ["bar", "psi", "kPa", "MPa", "kgf/cm2"])
def test_a_pressure_that_does_not_say_gauge_or_absolute_is_refused_whole(plant, word):
    header = f"removal_id,position_id,found_on,reason,peak_pressure [{word}]\n"
    text = header + "R-1,P-1,2021-04-03,burst,7\n"
    with pytest.raises(InputError, match=f"say gauge or absolute: {word}g or {word}a"):
        read_logs(plant(removals=text))


def test_a_measured_column_that_is_blank_throughout_needs_no_unit(plant):
    text = "removal_id,position_id,found_on,reason,peak_pressure\nR-1,P-1,2021-04-03,burst,\n"
    assert len(read_logs(plant(removals=text)).tables["removals"]) == 1


def test_plant_names_words_and_formats_are_mapped(plant):
    text = "Auftrag;Platz;Datum;Grund;Druck [bar];Kosten\nR-1;P-1;03.04.2021;Berstung;7,2;1.234,5\n"
    toml = """
date_format = "%d.%m.%Y"
decimal = ","
thousands = "."
[columns.removals]
Auftrag = "removal_id"
Platz = "position_id"
Datum = "found_on"
Grund = "reason"
Druck = "peak_pressure"
Kosten = "cost"
[units.removals]
peak_pressure = "barg"
[words.removals.reason]
Berstung = "burst"
"""
    logs = read_logs(plant(toml=toml, removals=text, installs=INSTALLS, positions=POSITIONS))

    row = logs.tables["removals"].iloc[0]
    assert (row["found_on"], row["reason"]) == (pd.Timestamp("2021-04-03"), "burst")
    assert (row["peak_pressure_barg"], row["cost"]) == (7.2, 1234.5)


INSTALLS = "install_id,position_id,installed_on,disc_code\nI-1,P-1,2020-01-10,D-10\n"
POSITIONS = (
    "position_id,site,disc_code,max_operating_pressure [barg]\nP-1,North,D-10,8\nP-2,North,D-10,8\n"
)


def test_unknown_columns_are_named_and_duplicate_columns_refused(plant):
    logs = read_logs(plant(installs="colour," + INSTALLS.replace("\nI", "\nred,I")))
    assert any("left aside: colour" in note for note in logs.notes)

    with pytest.raises(InputError, match="column disc_code occurs twice"):
        read_logs(plant(installs="disc_code," + INSTALLS.replace("\nI", "\nD-10,I")))


def test_several_files_make_one_table_and_lines_point_into_each(plant):
    folder = plant(installs=INSTALLS)
    (folder / "installs_2021.csv").write_text(
        INSTALLS.split("\n")[0] + "\n\nI-1,P-1,2020-01-10,D-10\nI-2,P-2,2021-01-10,D-10\n"
    )
    logs = read_logs(folder)

    installs = logs.tables["installs"]
    assert installs["source_file"].tolist() == ["installs.csv", "installs_2021.csv"]
    assert installs["source_line"].tolist() == [2, 4]
    assert logs.quarantine[["file", "line", "reason"]].to_numpy().tolist() == [
        ["installs_2021.csv", 3, "duplicate_row"]
    ]
    check_sums(logs)


def test_a_table_without_a_key_keeps_equal_rows_and_asks(plant):
    text = "store,disc_code,lot,quantity\nMain,D-10,L1,2\nMain,D-10,L1,2\nMain,D-10,L2,-3\n"
    logs = read_logs(plant(stock=text))

    assert logs.tables["stock"]["quantity"].tolist() == [2, 2]
    assert reasons(logs) == {4: ["too_small"]}
    assert any("stock rows equal an earlier one" in note for note in logs.notes)


def test_rows_recorded_here_are_read_by_our_rules_whatever_the_plant_declares(plant):
    toml = """
date_format = "%Y-%d-%m"
decimal = ","
[columns.removals]
reason = "remarks"
code = "reason"
[units.removals]
peak_pressure = "psig"
"""
    plants_own = "removal_id;position_id;found_on;code;reason;peak_pressure\n"
    folder = plant(
        removals=plants_own + "R-1;P-1;2021-03-04;burst;seat dirty;101,5\n",
        removals_recorded="removal_id,position_id,found_on,reason,remarks,peak_pressure [barg]\n"
        "R-2,P-1,2021-04-03,burst,seat dirty,7.5\n",
        toml=toml,
    )
    for name in ("installs", "discs", "positions"):
        (folder / f"{name}.csv").rename(folder / f"{name}_recorded.csv")
    removals = read_logs(folder).tables["removals"]

    assert removals["found_on"].tolist() == [pd.Timestamp("2021-04-03")] * 2
    assert removals["remarks"].tolist() == ["seat dirty"] * 2
    assert removals["peak_pressure_barg"].tolist() == [pytest.approx(101.5 * BAR_PER_PSI), 7.5]
