from datetime import date

import pytest

from analytics.errors import InputError
from analytics.logs.settings import Settings, parse_settings, read_settings

FULL = """
title = "North works"
log_begins = 2015-01-01
export_date = 2024-06-30
date_format = "%d.%m.%Y"
decimal = ","
thousands = "."
time_zone = "Europe/Berlin"
[columns.removals]
"Equipment" = "position_id"
[units.removals]
peak_pressure = "barg"
[words.removals.reason]
"PM" = "planned"
[[renamed]]
was = "P-1"
now = "P-101"
until = 2019-03-01
[sources]
removals = ["workorders.xlsx#Sheet1"]
"""


def test_every_section_is_read():
    settings = parse_settings(FULL)

    assert settings.log_begins == date(2015, 1, 1)
    assert settings.columns["removals"]["Equipment"] == "position_id"
    assert settings.renamed[0].until == date(2019, 3, 1)
    assert settings.sources["removals"] == ("workorders.xlsx#Sheet1",)


def test_no_file_means_the_defaults(tmp_path):
    assert read_settings(tmp_path) == Settings()


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("decimal = ';'", "decimal"),
        ("colour = 'red'", "colour"),
        ("title =", "no valid TOML"),
        ("a = " + "[" * 5000, "no valid TOML"),
        ("[columns.removal]\nx = 'y'", "columns.removal is no table"),
        ("[columns.removals]\nx = 'y'", "table removals has no column y"),
        ("[units.removals]\nx = 'barg'", "table removals has no column x"),
        ("decimal = ','\nthousands = ','", "must be different marks"),
        ("date_format = '%d/%m'", "date_format must hold"),
        ("date_format = '%d/%m/%Y %p'", "date_format must hold"),
        ("date_format = '%d/%d/%m/%Y'", "date_format must hold"),
        ("time_zone = 'Mars/Olympus'", "time_zone must be a name"),
        ("time_zone = '../../etc/passwd'", "time_zone must be a name"),
        ("log_begins = 2024-01-01\nexport_date = 2023-01-01", "must not be after"),
        ("[sources]\nremovals = ['../secret.csv']", "must be a file name in the log folder"),
        ("[sources]\nremovals = ['C:secret.csv']", "must be a file name in the log folder"),
        ("[[renamed]]\nwas = 'a'", "now"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(text, match):
    with pytest.raises(InputError, match=match) as caught:
        parse_settings(text)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_no_text_is_refused(tmp_path):
    (tmp_path / "logs.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="must be UTF-8"):
        read_settings(tmp_path)
