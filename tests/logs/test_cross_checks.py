import re

import pytest

from analytics.logs.reading import read_logs

INSTALLS = "install_id,position_id,installed_on,disc_code,marked_burst_pressure [barg]\n"
REMOVALS = "removal_id,position_id,found_on,reason,peak_pressure [barg]\n"


def held(logs):
    return logs.quarantine[["column", "reason", "mend"]].to_numpy().tolist()


def test_unknown_codes_are_held_back_and_near_misses_named(plant):
    logs = read_logs(
        plant(
            installs=INSTALLS
            + "I-1,P-9,2020-01-10,D-10,10\nI-2,p 1,2020-01-10,D-10,10\n"
            + "I-3,P-1,2020-01-10,D-99,10\n",
            stock="store,disc_code,quantity\nMain,D-99,2\n",
            removals=None,
        )
    )
    found = held(logs)
    assert [row[:2] for row in found] == [
        ["position_id", "unknown_position"],
        ["position_id", "unknown_position"],
        ["disc_code", "unknown_disc_code"],
        ["disc_code", "unknown_disc_code"],
    ]
    assert "add 'P-9' to positions" in found[0][2]
    assert "is it 'P-1'?" in found[1][2]


def test_rows_of_a_position_in_quarantine_say_so(plant):
    positions = (
        "position_id,site,disc_code,criticality,max_operating_pressure [barg]\n"
        "P-1,North,D-10,Z,7\nP-2,North,D-10,A,7\nP-3,North,D-20,A,7\n"
    )
    logs = read_logs(plant(positions=positions, removals=None))

    mends = logs.quarantine.loc[logs.quarantine["reason"] == "unknown_position", "mend"]
    assert len(mends) == 2
    assert mends.str.contains("is in quarantine: mend that one first").all()


def test_a_renamed_position_is_followed_up_to_its_day(plant):
    toml = '[[renamed]]\nwas = "OLD"\nnow = "P-1"\nuntil = 2020-06-01\n'
    text = INSTALLS + "I-1,OLD,2020-01-10,D-10,10\nI-2,OLD,2020-06-01,D-10,10\n"
    logs = read_logs(plant(installs=text, removals=None, toml=toml))

    assert logs.tables["installs"]["position_id"].tolist() == ["P-1"]
    assert logs.quarantine["line"].tolist() == [3]


@pytest.mark.parametrize(
    ("installs", "removals", "question"),
    [
        ("I-1,P-1,2020-01-10,D-20,20\n", "", "1 installs have another disc code"),
        ("I-1,P-1,2020-01-10,D-10,10\n", "R-1,P-1,2019-01-10,leak,\n", "removals come before any"),
        ("", "R-1,P-1,2019-01-10,leak,\n", "1 removals come before any"),
        (
            "I-1,P-1,2020-01-10,D-10,10\nI-2,P-1,2020-03-10,D-10,10\n",
            "",
            "1 installs follow another install with no removal between.*: I-2",
        ),
        (
            "I-1,P-1,2020-01-10,D-10,10\n",
            "R-1,P-1,2020-01-10,burst,\n",
            "1 removals ended a disc on the day it was fitted",
        ),
        (
            "I-1,P-1,2020-01-10,D-10,10\n",
            "R-1,P-1,2021-01-10,burst,\nR-2,P-1,2021-01-10,burst,\n",
            "1 removals follow another removal .*one job has two numbers.: R-2",
        ),
        ("I-1,P-1,2020-01-10,D-10,10.7\n", "", "outside the disc's manufacturing range: I-1"),
        ("I-1,P-1,2020-01-10,D-10,145\n", "", "too high by about 14.5038 .psi against bar"),
        ("I-1,P-1,2020-01-10,D-10,0.1\n", "", "too low by about 100 .kPa against bar"),
        (
            "I-1,P-1,2020-01-10,D-10,10\n",
            "R-1,P-1,2021-01-10,burst,1000\n",
            "removals, peak_pressure: 1 values are too high by about 100",
        ),
    ],
)
def test_oddities_are_asked_about_and_nothing_is_changed(plant, installs, removals, question):
    logs = read_logs(plant(installs=INSTALLS + installs, removals=REMOVALS + removals))

    assert logs.quarantine.empty
    assert len(logs.tables["installs"]) == installs.count("\n")
    assert len(logs.tables["removals"]) == removals.count("\n")
    pattern = re.compile(question)
    assert any(pattern.search(note) for note in logs.notes), logs.notes


def test_dates_before_service_and_before_the_log_are_asked_about(plant):
    positions = (
        "position_id,site,disc_code,max_operating_pressure [barg],in_service_from\n"
        "P-1,North,D-10,7,2020-02-01\n"
    )
    logs = read_logs(
        plant(
            positions=positions,
            installs=INSTALLS + "I-1,P-1,2020-01-10,D-10,10\n",
            removals=REMOVALS + "R-1,P-1,2021-01-10,burst,\n",
            toml="log_begins = 2021-06-01\n",
        )
    )
    assert logs.notes == (
        "1 installs are older than the day their position went into service: I-1",
        "1 removals are older than log_begins, 2021-06-01: R-1",
    )


def test_an_orderly_history_raises_no_question(plant):
    installs = "I-1,P-1,2020-01-10,D-10,10\nI-2,P-1,2021-01-10,D-10,9.7\n"
    removals = "R-1,P-1,2021-01-10,burst,7\n"
    logs = read_logs(plant(installs=INSTALLS + installs, removals=REMOVALS + removals))

    assert logs.notes == ()


def test_one_table_may_be_written_in_another_way_than_the_rest(plant):
    toml = """
[formats.removals]
date_format = "%d/%m/%Y"
decimal = ","
delimiter = ";"
"""
    removals = REMOVALS.replace(",", ";") + "R-1;P-1;03/04/2021;burst;7,2\n"
    logs = read_logs(plant(removals=removals, toml=toml))

    assert logs.quarantine.empty
    assert logs.tables["removals"]["peak_pressure_barg"].tolist() == [7.2]
    assert logs.tables["installs"]["marked_burst_pressure_barg"].tolist()[0] == 9.9
