import math

import pytest

from analytics.logs.refusals import Refusal
from analytics.logs.settings import Settings
from analytics.logs.tables import TABLES, Column, Kind
from analytics.logs.values import value_parser


def read(text: str, table: str, column: str, **settings):
    words = settings.pop("map_words", {})
    value = value_parser(TABLES[table].column(column), Settings(**settings), words)(text)
    return value.reason.value if isinstance(value, Refusal) else value


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", 12.0),
        ("-0.5", -0.5),
        ("1E5", 1e5),
        (" .5 ", 0.5),
        ("5.", 5.0),
        ("1,234", "ambiguous_number"),
        ("1.234.567", "ambiguous_number"),
        ("1 234", "ambiguous_number"),
        ("12 bar", "not_a_number"),
        ("nan", "not_a_number"),
        ("inf", "not_a_number"),
        ("1e999", "not_a_number"),
        ("9**9**9", "not_a_number"),
        ("0x10", "not_a_number"),
        ("1_000", "not_a_number"),
        ("١٢", "not_a_number"),
        ("50060e8007123400", "not_a_number"),
    ],
)
def test_numbers_are_read_only_when_they_can_mean_one_thing(text, value):
    assert read(text, "removals", "cost") == value


def test_decimal_comma_and_thousands_need_a_declaration():
    assert read("1,5", "removals", "cost") == "ambiguous_number"
    assert read("1,5", "removals", "cost", decimal=",") == 1.5
    assert read("1.234", "removals", "cost", decimal=",") == "ambiguous_number"
    assert read("1.234,5", "removals", "cost", decimal=",", thousands=".") == 1234.5
    assert read("1,234", "removals", "cost", thousands=",") == 1234.0
    assert read("1,23", "removals", "cost", thousands=",") == "ambiguous_number"


@pytest.mark.parametrize(
    ("text", "value"),
    [("3", 3), ("3.0", 3), ("3.5", "not_whole"), ("1e17", "not_whole"), ("x", "not_a_number")],
)
def test_counts_are_whole(text, value):
    assert read(text, "stock", "quantity") == value


def test_serial_numbers_and_words_stay_text():
    for text in ("0012", "NA", "1E5", "-0.5", "nan", "50060e8007123400", "\U0001f9ea"):
        assert read(text, "installs", "lot") == text


@pytest.mark.parametrize(
    ("text", "value"),
    [("yes", True), ("No", False), ("TRUE", True), ("", None), ("maybe", "unknown_word")],
)
def test_yes_no(text, value):
    assert read(text, "installs", "seat_clean") == value


def test_words_are_mapped_before_they_are_judged():
    assert read("PM", "removals", "reason") == "unknown_word"
    assert read("PM", "removals", "reason", map_words={"PM": "planned"}) == "planned"
    assert read("J", "installs", "seat_clean", map_words={"J": "yes"}) is True


def test_blanks_are_declared_and_never_guessed():
    assert read("n/a", "installs", "lot") == "n/a"
    assert read("n/a", "installs", "lot", blank=("n/a",)) is None
    assert read("n/a", "removals", "position_id", blank=("n/a",)) == "blank"


def test_text_that_no_cell_should_hold_is_refused():
    assert read("a\x00b", "installs", "lot") == "control_character"
    assert read("a\x1b[31m", "removals", "remarks") == "control_character"
    assert read("a\nb\tc", "removals", "remarks") == "a\nb\tc"
    assert read("x" * 40_000, "removals", "remarks") == "too_long"


@pytest.mark.parametrize(
    ("text", "value"),
    [("25/50/75/100", "25/50/75/100"), ("30 % / 60 %", "30/60"), ("half, full", "not_steps")],
)
def test_torque_steps(text, value):
    assert read(text, "installs", "torque_steps") == value


@pytest.mark.parametrize("kind", Kind)
def test_every_kind_reads_blank_as_none(kind):
    column = Column(name="x", kind=kind, about="", allowed=("a",))
    assert value_parser(column, Settings(), {})("  ") is None


def test_minus_zero_keeps_its_sign():
    assert math.copysign(1, read("-0.0", "removals", "cost")) == -1
