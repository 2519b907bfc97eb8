import pytest

from analytics.errors import InputError
from analytics.logs.evidence import date_format_of, marks_of
from analytics.logs.proposing import propose
from analytics.logs.reading import read_logs
from analytics.logs.settings import Settings, parse_settings

TAGS = """Tag Number;Plant;Part Number;Criticality;Operating Pressure (bar g)
P-1;North;D-10;high;7,5
P-2;North;D-10;low;7,25
"""
CATALOGUE = """Part Number;Disc Family;Burst Pressure [barg]
D-10;knife blade;10,5
"""
FITTINGS = """Record No;Tag Number;Date Fitted;Part Number;Marked Burst Pressure [bar];seat_clean
I-1;P-1;13.02.2020;D-10;10,4;J
I-2;P-2;03.04.2020;D-10;10,4;Nein
"""
EVENTS = """Work Order;Tag Number;Date Found;Reason;Cost;Comments
W-1;P-1;25.11.2021;Blown;1.234,50;seat dirty
W-2;P-2;03.04.2021;PM;n/a;
"""


@pytest.fixture
def plants_own(tmp_path):
    for name, text in (
        ("tags", TAGS),
        ("disc_catalogue", CATALOGUE),
        ("fittings", FITTINGS),
        ("events", EVENTS),
    ):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    return tmp_path


def test_the_draft_of_a_plants_own_export_reads_it_once_the_questions_are_settled(plants_own):
    draft = propose(plants_own)
    parse_settings(draft)
    assert '# ? marked_burst_pressure = "barg"' in draft

    settled = draft.replace("# ? marked_burst", "marked_burst").replace("# ? blank", "blank")
    (plants_own / "logs.toml").write_text(settled, encoding="utf-8")
    logs = read_logs(plants_own)

    assert logs.quarantine.empty, logs.quarantine.to_string()
    assert logs.rows["accepted"].tolist() == [2, 1, 2, 2]
    assert logs.tables["removals"]["reason"].tolist() == ["burst", "planned"]
    assert logs.tables["removals"]["cost"].tolist()[0] == 1234.5
    assert logs.tables["installs"]["seat_clean"].tolist() == [True, False]
    assert logs.tables["positions"]["max_operating_pressure_barg"].tolist() == [7.5, 7.25]


def test_what_is_not_proven_is_a_question(plants_own):
    (plants_own / "events.csv").write_text(EVENTS.replace("25.11", "02.11"), encoding="utf-8")
    draft = propose(plants_own)

    assert '# ? formats.removals.date_format = "%d.%m.%Y"' in draft
    assert '# ? formats.removals.date_format = "%m.%d.%Y"' in draft
    assert "removals" not in parse_settings(draft).formats or (
        parse_settings(draft).formats["removals"].date_format is None
    )


def test_clean_logs_need_no_line(plant):
    assert parse_settings(propose(plant())) == Settings()


def test_text_in_the_files_cannot_break_out_of_the_draft(plant):
    nasty = 'decimal = ","\n[x]\\u0000"""\x7f'
    quoted = nasty.replace('"', '""')
    folder = plant(
        removals=f'removal_id,position_id,found_on,reason,"{quoted}"\nR-1,P-1,x,"{quoted}",1\n'
    )
    assert parse_settings(propose(folder)).decimal == "."


def test_nothing_to_read_is_said_in_one_line(tmp_path):
    with pytest.raises(InputError, match="no log file that can be read"):
        propose(tmp_path)
    with pytest.raises(InputError, match="no log folder at"):
        propose(tmp_path / "none")


@pytest.mark.parametrize(
    ("texts", "answers"),
    [
        (["2021-04-03"], ("",)),
        (["25/04/2021", "01/02/2021"], ("%d/%m/%Y",)),
        (["04/25/2021", "01/02/2021"], ("%m/%d/%Y",)),
        (["03-APR-21"], ("%d-%b-%y",)),
        (["25.04.2021 13:05"], ("%d.%m.%Y %H:%M",)),
        (["04/04/2021"], ("%d/%m/%Y", "%m/%d/%Y")),
        (["soon", "later"], ()),
        ([], ()),
    ],
)
def test_a_date_format_is_proven_by_a_day_above_twelve(texts, answers):
    assert date_format_of(texts).answers == answers


@pytest.mark.parametrize(
    ("texts", "answers"),
    [
        (["1,5"], (",",)),
        (["1.5"], (".",)),
        (["12"], (".",)),
        (["1,234.5"], (".,",)),
        (["1.234,5"], (",.",)),
        (["1,234"], (".,", ",")),
        (["0,250"], (",",)),
        (["1,234", "2.5"], (".,",)),
    ],
)
def test_marks_are_proven_by_a_number_that_can_mean_one_thing(texts, answers):
    assert marks_of(texts).answers == answers
