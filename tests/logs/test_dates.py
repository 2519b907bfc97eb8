import itertools
import os
import subprocess
import sys
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from analytics.logs.dates import day_parser, moment_parser
from analytics.logs.refusals import Refusal
from analytics.logs.settings import Settings


def code(value):
    return value.reason.value if isinstance(value, Refusal) else value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2021-04-03", date(2021, 4, 3)),
        ("2021-04-03 23:59", date(2021, 4, 3)),
        ("2021-04-03T00:00:00", date(2021, 4, 3)),
        ("2020-02-29", date(2020, 2, 29)),
        ("2021-02-29", "not_a_date"),
        ("1917-03-14", "not_a_date"),
        ("9999-01-01", "not_a_date"),
        ("03/04/2021", "ambiguous_date"),
        ("3.4.2021", "ambiguous_date"),
        ("03-APR-2021", "ambiguous_date"),
        ("44289", "not_a_date"),
        ("next week", "not_a_date"),
        ("2021-04-03T23:30:00Z", "zone_unknown"),
        ("2021-4-3", "ambiguous_date"),
    ],
)
def test_days_are_iso_or_refused(text, value):
    assert code(day_parser(Settings())(text)) == value


@pytest.mark.parametrize(
    ("form", "text", "value"),
    [
        ("%d/%m/%Y", "03/04/2021", date(2021, 4, 3)),
        ("%m/%d/%Y", "03/04/2021", date(2021, 3, 4)),
        ("%m/%d/%Y", "13/04/2021", "not_a_date"),
        ("%d.%m.%y", "3.4.21", date(2021, 4, 3)),
        ("%d.%m.%y", "3.4.69", date(1969, 4, 3)),
        ("%d-%b-%Y", "03-APR-2021", date(2021, 4, 3)),
        ("%d-%b-%Y", "03-MAI-2021", "not_a_date"),
        ("%d/%m/%Y", "2021-04-03", date(2021, 4, 3)),
        ("%Y-%d-%m", "2021-04-03", date(2021, 3, 4)),
        ("%Y-%d-%m", "2021-04-13", "not_a_date"),
    ],
)
def test_a_declared_format_settles_day_and_month(form, text, value):
    assert code(day_parser(Settings(date_format=form))(text)) == value


def test_an_offset_moves_the_day_into_the_declared_zone():
    parse = day_parser(Settings(time_zone="Asia/Kolkata"))
    assert parse("2021-04-03T20:00:00Z") == date(2021, 4, 4)
    assert parse("2021-04-03T20:00:00") == date(2021, 4, 3)


# Clock changes as published in the IANA time zone database, version 2021a and later:
# Europe/Berlin 2021-03-28 and 2021-10-31, America/New_York 2021-03-14 and 2021-11-07,
# Australia/Lord_Howe moves by half an hour (2021-10-03 and 2021-04-04).
@pytest.mark.parametrize(
    ("zone", "text", "value"),
    [
        ("Europe/Berlin", "2021-10-31 02:30", "ambiguous_hour"),
        ("Europe/Berlin", "2021-10-31 03:00", datetime(2021, 10, 31, 2, tzinfo=UTC)),
        ("Europe/Berlin", "2021-03-28 02:30", "no_such_hour"),
        ("Europe/Berlin", "2021-10-31 02:30+02:00", datetime(2021, 10, 31, 0, 30, tzinfo=UTC)),
        ("America/New_York", "2021-11-07 01:30", "ambiguous_hour"),
        ("America/New_York", "2021-03-14 02:30", "no_such_hour"),
        ("Australia/Lord_Howe", "2021-04-04 01:45", "ambiguous_hour"),
        ("Australia/Lord_Howe", "2021-10-03 02:15", "no_such_hour"),
        ("Asia/Kolkata", "2021-10-31 02:30", datetime(2021, 10, 30, 21, tzinfo=UTC)),
        ("UTC", "2021-10-31 02:30:15.5", datetime(2021, 10, 31, 2, 30, 15, 500_000, tzinfo=UTC)),
        (None, "2021-10-31 02:30", "zone_unknown"),
        (None, "2021-10-31 02:30-05:00", datetime(2021, 10, 31, 7, 30, tzinfo=UTC)),
    ],
)
def test_moments_and_the_hours_that_clocks_repeat_or_skip(zone, text, value):
    assert code(moment_parser(Settings(time_zone=zone))(text)) == value


ZONES = (
    "UTC",
    "Europe/Berlin",
    "America/New_York",
    "Asia/Kolkata",
    "Australia/Lord_Howe",
    "America/St_Johns",
)


def test_six_zones_agree_on_the_time_between_two_moments():
    # One pair of instants, written on the wall clocks of six plants; clocks change in between.
    first, second = datetime(2021, 1, 5, 3, 17, tzinfo=UTC), datetime(2021, 7, 9, 12, 4, tzinfo=UTC)
    for zone in ZONES:
        parse = moment_parser(Settings(time_zone=zone))
        clock = ZoneInfo(zone)
        walls = [f"{moment.astimezone(clock):%Y-%m-%d %H:%M}" for moment in (first, second)]
        assert parse(walls[1]) - parse(walls[0]) == second - first


SCRIPT = """
import calendar, locale, os, sys, time
from pathlib import Path
from analytics.logs.reading import read_logs
for case in sys.argv[2:]:
    name, zone = case.split("=")
    locale.setlocale(locale.LC_ALL, name)
    os.environ["TZ"] = zone
    time.tzset()
    logs = read_logs(Path(sys.argv[1]))
    life = logs.tables["removals"]["found_on"][0] - logs.tables["installs"]["installed_on"][0]
    cost, mark = logs.tables["removals"]["cost"][0], locale.localeconv()["decimal_point"]
    print(life.days, cost, calendar.month_abbr[3], mark, time.tzname[0])
"""
LOCALES = ("C.UTF-8", "de_DE.UTF-8", "hi_IN.UTF-8", "fr_FR.UTF-8")


@pytest.fixture(scope="module")
def made_locales(tmp_path_factory):
    """Compile the locales, so that the test does not depend on which are installed."""
    folder = tmp_path_factory.mktemp("locales")
    for name in LOCALES[1:]:
        try:
            made = subprocess.run(
                ["localedef", "-i", name.partition(".")[0], "-f", "UTF-8", folder / name],
                capture_output=True,
                check=False,
            )
        except FileNotFoundError:
            pytest.skip("no localedef on this machine")
        if not (folder / name).exists():
            pytest.skip(f"cannot make the locale {name}: {made.stderr.decode()[:100]}")
    return folder


def test_four_locales_and_six_machine_zones_give_the_same_lives(plant, made_locales):
    toml = 'decimal = ","\n[formats.positions]\ndecimal = "."\n[formats.discs]\ndecimal = "."\n'
    installs = "install_id,position_id,installed_on,disc_code\nI-1,P-1,28-Feb-2020,D-10\n"
    removals = "removal_id,position_id,found_on,reason,cost\n" + 'R-1,P-1,29-MAR-2021,burst,"1,5"\n'
    folder = plant(toml='date_format = "%d-%b-%Y"\n' + toml, installs=installs, removals=removals)
    cases = [f"{name}={zone}" for name, zone in zip(itertools.cycle(LOCALES), ZONES, strict=False)]
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, str(folder), *cases],
        env={**os.environ, "LOCPATH": str(made_locales)},
        capture_output=True,
        text=True,
        check=True,
    )
    runs = [line.split() for line in done.stdout.splitlines()]
    assert len(runs) == len(ZONES)
    # 28 February 2020 to 29 March 2021: 366 days to 28 February 2021 (a leap day), and 29.
    assert {tuple(run[:2]) for run in runs} == {("395", "1.5")}
    # Each locale and zone was in force, or nothing was tested.
    assert len({run[2] for run in runs}) >= 3
    assert {run[3] for run in runs} == {".", ","}
    assert len({run[4] for run in runs}) >= 5
