"""The tag against the position: matched, stopped with a reason, or not on record."""

import math

import pytest

from analytics.installs.tag import Verdict, match_tag, may_be_fitted

NEEDED = {
    "disc_code": "FS-100-06",
    "family": "forward_scored",
    "nominal_size": "DN100",
    "specified_burst_pressure_barg": 10.0,
    "range_minus_pct": 5.0,
    "range_plus_pct": 5.0,
    "coincident_temperature_degc": 120.0,
}
TAG = {
    "disc_code": "FS-100-06",
    "family": "forward_scored",
    "nominal_size": "dn100",
    "marked_burst_pressure_barg": 10.2,
    "coincident_temperature_degc": 120.0,
    "lot": "L7",
}
LOTS = frozenset({"L7", "L8"})


def verdicts(**read: object) -> dict[str, Verdict]:
    return {match.what: match.verdict for match in match_tag(NEEDED, TAG | read, LOTS)}


def test_the_right_disc_matches_line_by_line():
    assert set(verdicts().values()) == {Verdict.MATCHED}
    assert may_be_fitted(match_tag(NEEDED, TAG, LOTS))


@pytest.mark.parametrize(
    ("line", "read", "what"),
    [
        ("disc_code", "FS-100-07", "disc code"),
        ("family", "reverse_scored", "type"),
        ("nominal_size", "DN80", "size"),
        ("marked_burst_pressure_barg", 9.49, "marked burst pressure"),
        ("marked_burst_pressure_barg", 10.51, "marked burst pressure"),
        ("coincident_temperature_degc", 22.0, "temperature"),
    ],
)
def test_any_other_disc_is_stopped_with_its_reason(line: str, read: object, what: str):
    matches = match_tag(NEEDED, TAG | {line: read}, LOTS)
    stopped = [match for match in matches if match.verdict is Verdict.STOPPED]

    assert [match.what for match in stopped] == [what]
    assert stopped[0].reason
    assert not may_be_fitted(matches)


@pytest.mark.parametrize("line", list(TAG))
def test_a_line_that_was_not_read_stops(line: str):
    assert Verdict.STOPPED in verdicts(**{line: None}).values()


@pytest.mark.parametrize("mark", [9.5, 10.5])
def test_the_ends_of_the_range_belong_to_it(mark: float):
    # Manufacturing range 10 barg -5 % / +5 %: 9.5 to 10.5 barg by arithmetic.
    assert verdicts(marked_burst_pressure_barg=mark)["marked burst pressure"] is Verdict.MATCHED


def test_without_a_range_only_the_specified_pressure_matches():
    needed = NEEDED | {"range_minus_pct": math.nan, "range_plus_pct": math.nan}

    assert may_be_fitted(match_tag(needed, TAG | {"marked_burst_pressure_barg": 10.0}, LOTS))
    assert not may_be_fitted(match_tag(needed, TAG | {"marked_burst_pressure_barg": 10.1}, LOTS))


def test_what_the_logs_do_not_say_is_said_not_guessed():
    found = {match.what: match for match in match_tag({}, TAG, frozenset())}

    assert {match.verdict for match in found.values()} == {Verdict.UNKNOWN}
    assert all(match.reason for match in found.values())


def test_an_unknown_lot_is_named_but_does_not_stop():
    assert verdicts(lot="X1")["lot"] is Verdict.UNKNOWN
    assert may_be_fitted(match_tag(NEEDED, TAG | {"lot": "X1"}, LOTS))
