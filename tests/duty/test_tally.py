"""The tally: exact under any split and grouping, and true to the standard's count."""

import functools
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from analytics.duty.counting import Limits, tally_series
from analytics.duty.cycles import extract_cycles
from analytics.duty.damage import Basquin, miner_damage
from analytics.duty.grid import LEVELS_PER_BAR, MEAN_CLASSES, mean_class, range_class
from analytics.duty.ledger import CROSSINGS, HIGH, HIGH_AT, LOW, ROWS, SEGMENTS
from analytics.duty.readout import (
    counted_cycles,
    covered_years,
    is_compressed,
    mean_pressure,
    pressure_quantile,
    share_of_time_above,
    stuck_days,
)
from analytics.duty.tally import HistoryTally, Note, merge_tallies
from analytics.units import Dimension, convert_from, convert_to

HOUR = 3_600_000
LIMITS = Limits(gap_hours=10 / 3600, flat_hours=20 / 3600)  # 10 s and 20 s
Rows = tuple[NDArray[np.int64], NDArray[np.float64]]

# The end of a quarter lies inside most of these series, so stretches are cut too.
QUARTER_END = int(np.datetime64("2024-04-01", "ms").astype(np.int64))
# Steps of exactly the gap are common, for there the two loops could differ.
steps = st.lists(st.integers(1, 15_000) | st.just(10_000), min_size=1, max_size=60)


@st.composite
def rows(draw: st.DrawFn) -> Rows:
    """Rows a second or so apart: few levels with many ties, or any pressure; some missing."""
    step = draw(steps)
    few = st.integers(-1, 4).map(float)
    level = draw(st.sampled_from([few, st.floats(-1.0, 300.0), few | st.just(float("nan"))]))
    pressure = draw(st.lists(level, min_size=len(step), max_size=len(step)))
    times = QUARTER_END - 100_000 + np.cumsum(np.array(step, np.int64))
    return times, np.array(pressure)


def tally(times: NDArray[np.int64], pressure: NDArray[np.float64]) -> HistoryTally:
    return tally_series("P", times, pressure, LIMITS)


def seconds(pressure: object, step: int = 1) -> HistoryTally:
    values = np.asarray(pressure, dtype=float)
    return tally(np.arange(values.size, dtype=np.int64) * step * 1000, values)


@given(rows(), st.data())
@settings(max_examples=150, deadline=None)
def test_any_split_merged_in_any_grouping_is_the_tally_of_the_whole(given_rows: Rows, data):
    times, pressure = given_rows
    cuts = sorted(data.draw(st.sets(st.integers(1, max(len(times) - 1, 1)), max_size=6)))
    pieces = [
        tally(*piece) for piece in zip(np.split(times, cuts), np.split(pressure, cuts), strict=True)
    ]
    while len(pieces) > 1:
        at = data.draw(st.integers(0, len(pieces) - 2))
        many = data.draw(st.integers(2, len(pieces) - at))
        pieces[at : at + many] = [merge_tallies(data.draw(st.permutations(pieces[at : at + many])))]

    assert pieces[0].equals(tally(times, pressure))


@given(st.lists(st.integers(-40, 400), min_size=2, max_size=120))
@settings(max_examples=100, deadline=None)
def test_totals_by_range_and_mean_are_those_of_the_standard(levels: list[int]):
    # Independent route: the cycles listed one by one as ASTM E1049 extracts them, put into
    # the tally's classes here. Whole grid steps, so nothing is rounded.
    listed = extract_cycles(levels)
    expected: Counter[int] = Counter()
    for span, mean, count in zip(listed.ranges, listed.means, listed.counts, strict=True):
        key = range_class(int(span)) * MEAN_CLASSES + mean_class(int(2 * mean))
        expected[key] += round(2 * count)

    ledger = seconds(np.array(levels) / LEVELS_PER_BAR).ledger
    found = Counter({int(key): int(halves) for key, halves in ledger.cycles[:, :2]})
    for left, right in zip(ledger.residues[:-1], ledger.residues[1:], strict=True):
        found[range_class(abs(right - left)) * MEAN_CLASSES + mean_class(left + right)] += 1
    assert found == expected


@given(st.lists(st.integers(0, 9), min_size=2, max_size=80))
@settings(max_examples=80, deadline=None)
def test_time_reversed_closes_the_same_cycles(levels: list[int]):
    # Closed cycles are nested pairs of points; the order of time plays no part in them, and
    # ASTM E1049-85, 5.4.5 counts a repeating history the same from any start.
    forward, backward = seconds(levels).ledger, seconds(levels[::-1]).ledger

    assert np.array_equal(forward.cycles, backward.cycles)
    assert np.array_equal(forward.residues, backward.residues[::-1])


@given(st.lists(st.integers(-60_000, 20_000_000), min_size=1, max_size=60))
@settings(max_examples=60, deadline=None)
def test_unit_of_pressure_does_not_matter(levels: list[int]):
    bar = np.array(levels) / LEVELS_PER_BAR
    psi = convert_to(bar, "psia", Dimension.GAUGE_PRESSURE)

    assert seconds(bar).equals(seconds(convert_from(psi, "psia", Dimension.GAUGE_PRESSURE)))
    # Listed cycles compare points only, so any unit gives the same counts in the same order.
    assert extract_cycles(bar).counts.tolist() == extract_cycles(psi).counts.tolist()


@given(rows())
@settings(max_examples=80, deadline=None)
def test_time_weighted_figures_against_plain_arithmetic(given_rows: Rows):
    times, pressure = given_rows
    good = ~np.isnan(pressure)
    when, what = times[good], np.floor(pressure[good] * LEVELS_PER_BAR + 0.5) / LEVELS_PER_BAR
    quarter = when >= QUARTER_END
    step, held = np.diff(when), what[:-1]
    inside = (step <= LIMITS.gap_ms) & (quarter[1:] == quarter[:-1])
    ledger = tally(times, pressure).ledger
    stretches = [side for side in (False, True) if (quarter == side).any()]
    assert ledger.parts[:, ROWS].tolist() == [int((quarter == side).sum()) for side in stretches]
    for part, side in enumerate(stretches):
        mine = inside & (quarter[:-1] == side)
        covered = int(step[mine].sum())
        assert covered_years(ledger)[part] * 365.25 * 24 * HOUR == pytest.approx(covered)
        if not covered:
            assert np.isnan(mean_pressure(ledger)[part])
            continue
        mean = float((step[mine] * held[mine]).sum() / covered)
        assert mean_pressure(ledger)[part] == pytest.approx(mean, abs=1e-9)
        order = np.argsort(held[mine], kind="stable")
        total = np.cumsum(step[mine][order])
        exact = held[mine][order][np.searchsorted(total, 0.95 * covered)]
        # A class is 0.4 % wide at most.
        assert pressure_quantile(ledger, 0.95)[part] == pytest.approx(exact, rel=0.004, abs=1e-4)
        # A limit between two values seen is cut by no class but theirs.
        limit = 2.5 if not np.any(np.abs(held - 2.5) < 0.02) else 1000.0
        share = float(step[mine][held[mine] > limit].sum() / covered)
        assert share_of_time_above(ledger, limit)[part] == pytest.approx(share, abs=1e-12)


def test_damage_read_from_classes_is_close_to_the_sum_over_cycles():
    # Classes keep the exact mean of their ranges, so the error is of second order: below 1 %
    # even for a slope of 10, the steepest in common use.
    random = np.random.default_rng(8)
    series = np.floor(random.gamma(4.0, 1.5, 60_000) * LEVELS_PER_BAR) / LEVELS_PER_BAR
    curve = Basquin(cycles_at_unit_range=1e9, slope=10.0)
    exact = extract_cycles(series)
    read = counted_cycles(seconds(series).ledger)

    assert read.counts.sum() == exact.counts.sum()
    assert miner_damage(read.ranges, read.counts, curve) == pytest.approx(
        miner_damage(exact.ranges, exact.counts, curve), rel=0.01
    )


def test_gap_ends_a_segment_and_is_not_covered():
    # By hand: 0 5 | 0 5 with 11 s between. Joined, 5 -> 0 would be a half cycle.
    times = np.array([0, 1, 12, 13], np.int64) * 1000
    ledger = tally(times, np.array([0.0, 5.0, 0.0, 5.0])).ledger

    assert ledger.parts[0, SEGMENTS] == 2
    assert counted_cycles(ledger).counts.tolist() == [0.5, 0.5]
    assert covered_years(ledger)[0] * 365.25 * 24 * 3600 == pytest.approx(2.0)


def test_rows_exactly_the_gap_apart_are_joined():
    times = np.array([0, 10_000, 20_001], np.int64)

    assert tally(times, np.array([0.0, 5.0, 0.0])).ledger.parts[0, SEGMENTS] == 2
    assert tally(times[:2], np.array([0.0, 5.0])).ledger.parts[0, SEGMENTS] == 1


def test_long_run_of_one_value_is_stuck_and_a_short_one_is_not():
    # By hand: the 2s last 25 s (one sample a second, until the 3), the 3s only 5 s.
    ledger = seconds([1, *[2] * 25, *[3] * 5, 4]).ledger

    assert stuck_days(ledger, LIMITS.flat_ms)[0] * 86_400 == pytest.approx(25.0)
    still = seconds([7] * 31).ledger
    assert stuck_days(still, LIMITS.flat_ms)[0] * 86_400 == pytest.approx(30.0)


def test_uneven_steps_mark_a_compressed_historian():
    random = np.random.default_rng(3)
    regular = np.cumsum(random.integers(900, 1100, 500))
    changes_only = np.cumsum(np.exp(random.uniform(np.log(50), np.log(9_000), 500)).astype(int))

    assert not is_compressed(tally(regular, random.random(500)).ledger)[0]
    assert is_compressed(tally(changes_only, random.random(500)).ledger)[0]


def test_extremes_and_vacuum_crossings():
    part = seconds([2.0, -0.5, 6.0, 6.0, -0.25]).ledger.parts[0]

    assert part[CROSSINGS] == 3
    assert (part[LOW], part[HIGH]) == (-LEVELS_PER_BAR // 2, 6 * LEVELS_PER_BAR)
    assert part[HIGH_AT] == 2000  # the first of the two


def test_clock_set_back_is_set_aside_until_it_catches_up():
    times = np.array([0, 1, 2, 1, 2, 3], np.int64) * 1000
    found = tally(times, np.array([1.0, 5.0, 1.0, 5.0, 1.0, 5.0]))

    assert found.ledger.parts[0, ROWS] == 4
    assert [(note.position_id, note.rows) for note in found.notes] == [("P", 2)]
    assert "time repeats or goes back" in found.notes[0].what


def test_pressure_that_is_no_number_or_beyond_any_vessel_is_set_aside():
    found = seconds([1.0, np.nan, 25_000.0, -3.0, np.inf, 2.0])

    assert found.ledger.parts[0, ROWS] == 2
    assert found.notes[0].rows == 4


def test_overlapping_pieces_keep_the_one_that_begins_first():
    early, late = seconds([1.0, 2.0, 1.0]), tally(np.array([1500, 9000]), np.array([1.0, 2.0]))
    merged = merge_tallies([late, early], ["late.csv", "early.csv"])

    assert merged.ledger.parts[:, ROWS].tolist() == [3]
    assert [(note.file, note.rows) for note in merged.notes] == [("late.csv", 2)]


def test_cautions_join_what_is_said_of_many_positions():
    what = "time repeats"
    notes = [Note(file="a.csv", position_id=f"P{k}", what=what, rows=1000) for k in range(5)]
    notes.append(Note(file="b.csv", position_id="", what="cannot be read; not used", rows=0))
    empty = seconds([1.0])
    found = HistoryTally(
        positions=empty.positions,
        ledger=empty.ledger,
        gap_ms=1,
        flat_ms=1,
        notes=tuple(notes),
    )

    assert found.cautions == (
        "Historian file a.csv (P0, P1, P2 and 2 more, 5,000 rows): time repeats.",
        "Historian file b.csv: cannot be read; not used.",
    )


def test_merge_needs_like_tallies():
    other = tally_series("P", np.array([0]), np.array([1.0]), Limits(gap_hours=1))
    with pytest.raises(ValueError, match="one or more tallies made with the same limits"):
        merge_tallies([seconds([1.0]), other])
    with pytest.raises(ValueError, match="one or more tallies"):
        merge_tallies([])


def test_merging_is_the_same_folded_from_either_end():
    pieces = [tally(np.array([k * 1000]), np.array([float(k % 3)])) for k in range(12)]
    left = functools.reduce(lambda one, other: merge_tallies([one, other]), pieces)
    right = functools.reduce(lambda one, other: merge_tallies([other, one]), pieces[::-1])

    assert left.equals(right)


def test_quantile_and_limits_refuse_nonsense():
    with pytest.raises(ValueError, match=r"share must lie in \[0, 1\]"):
        pressure_quantile(seconds([1.0]).ledger, 1.5)
    with pytest.raises(ValueError, match="gap_hours and flat_hours must be > 0 h"):
        Limits(gap_hours=0)
