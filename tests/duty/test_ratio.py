"""Burst tolerance, burst window and operating ratio against printed values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.duty.ratio import (
    RatioDefinition,
    burst_tolerance,
    burst_window,
    differential_pressure,
    largest_operating_pressure,
    operating_margin,
    operating_ratio,
)
from analytics.units import BAR_PER_PSI, Dimension, convert_from, convert_to

pressures = st.floats(0.5, 500.0)


def bar(psig: float) -> float:
    return float(convert_from(psig, "psig", Dimension.GAUGE_PRESSURE))


@pytest.mark.parametrize(
    ("marked_psig", "tolerance_psi"),
    # Zappe pp. 222-223 (excerpts): +/-2 psi up to and including 40 psig, +/-5 % above;
    # 15 -> 13..17, 40 -> 38..42, 100 -> 95..105. Exact in psi, so only float noise.
    [(15.0, 2.0), (40.0, 2.0), (100.0, 5.0)],
)
def test_tolerance_in_both_regimes(marked_psig: float, tolerance_psi: float):
    tolerance = burst_tolerance(bar(marked_psig)) / BAR_PER_PSI

    assert float(tolerance) == pytest.approx(tolerance_psi, rel=1e-9)


def test_forty_psi_in_bar_and_kilopascal():
    # Arithmetic from 1 psi = 6.894757 kPa (NIST SP 811 app. B.8): 2.757903 bar, 275.790 kPa.
    assert bar(40.0) == pytest.approx(2.757903, abs=5e-7)
    kilopascal = convert_to(bar(40.0), "kPag", Dimension.GAUGE_PRESSURE)
    assert float(kilopascal) == pytest.approx(275.790, abs=5e-4)


def test_manufacturing_range_gives_the_lowest_and_highest_mark():
    # Zappe p. 223 example (excerpt): specified 10 barg, +7/-4 % -> marks 9.6 to 10.7 barg.
    # The window is those marks with 5 % tolerance taken off and put on.
    window = burst_window(np.nan, 10.0, 4.0, 7.0)

    assert float(window.marked) == pytest.approx(9.6)
    assert float(window.minimum) == pytest.approx(9.6 * 0.95)
    assert float(window.maximum) == pytest.approx(10.7 * 1.05)
    assert not window.from_tag
    assert window.range_known


def test_range_of_the_tutorial_order():
    # A process engineers' tutorial on discs, part 3 (excerpt): specified 95.2 psig, +5/-10 %:
    # marks 85.68 to 99.96, in words "top mark 100, highest burst 105" (rounded to 1 psi).
    window = burst_window(np.nan, bar(95.2), 10.0, 5.0)

    assert float(window.marked) / BAR_PER_PSI == pytest.approx(85.68, abs=5e-3)
    assert float(window.maximum) / BAR_PER_PSI == pytest.approx(105.0, abs=0.5)


def test_chain_from_design_pressure_to_operating_pressure():
    # Textbook chain (Zappe p. 248 figure and Ludwig, Process Design vol. 1, 3rd ed., p. 457,
    # read in excerpts): highest mark 100, +10/-5 %, tolerance 5 %, ratio 0.70
    # -> specified 90.909, lowest mark 86.364, least burst 82.045, operating 57.432.
    specified = 100.0 / 1.10
    window = burst_window(np.nan, specified, 5.0, 10.0)

    assert specified == pytest.approx(90.909, abs=5e-4)
    assert float(window.marked) == pytest.approx(86.364, abs=5e-4)
    assert float(window.minimum) == pytest.approx(82.045, abs=5e-4)
    operating = largest_operating_pressure(window.minimum, 0.70)
    assert float(operating) == pytest.approx(57.432, abs=5e-4)
    assert float(operating_ratio(operating, window.marked)) == pytest.approx(0.70)


@pytest.mark.parametrize(
    ("operating", "marked", "definition", "ratio"),
    [
        # Arithmetic: 63 over 70 psig, and over 70 less 5 %.
        (63.0, 70.0, RatioDefinition.LOW_PRESSURE, 0.9000),
        (63.0, 70.0, RatioDefinition.MARKED, 0.9000),
        (63.0, 70.0, RatioDefinition.MIN_BURST, 0.94737),
        # Arithmetic: 30 over 38 psig, and over 38 less 2 psi.
        (30.0, 38.0, RatioDefinition.MARKED, 0.78947),
        (30.0, 38.0, RatioDefinition.LOW_PRESSURE, 0.83333),
        (30.0, 38.0, RatioDefinition.MIN_BURST, 0.83333),
    ],
)
def test_ratio_by_definition(
    operating: float, marked: float, definition: RatioDefinition, ratio: float
):
    found = operating_ratio(bar(operating), bar(marked), definition=definition)

    assert float(found) == pytest.approx(ratio, abs=5e-6)


def test_least_burst_pressure_an_operating_pressure_needs():
    # Ludwig p. 457 (excerpt): 105 psig at ratio 0.7 needs a least burst of 150 psig; with
    # +10/-5 % on 150 the highest mark is 165.
    assert float(largest_operating_pressure(150.0, 0.7)) == pytest.approx(105.0)
    highest_mark = burst_window(np.nan, 150.0, 5.0, 10.0).maximum / 1.05
    assert float(highest_mark) == pytest.approx(165.0)


def test_two_discs_in_series_share_the_pressure_between_them():
    # Zappe p. 248 (excerpt): 140 psig with 70 between, ratio 0.7: each needs a least burst of
    # 100 psi; the book rates it 105, 100/0.95 is 105.26 (book rounds to 1 psi).
    differential = differential_pressure(140.0, 70.0)
    marked = float(differential) / 0.7 / 0.95

    assert float(largest_operating_pressure(100.0, 0.7)) == pytest.approx(float(differential))
    assert marked == pytest.approx(105.26, abs=5e-3)
    assert float(operating_ratio(140.0, marked, 70.0)) == pytest.approx(0.7)


def test_back_pressure_counts_and_blank_is_none():
    assert float(operating_ratio(12.0, 20.0, 2.0)) == pytest.approx(10 / 19)
    assert float(operating_ratio(12.0, 20.0, np.nan)) == pytest.approx(12 / 19)
    assert float(operating_margin(12.0, 19.0, 2.0)) == pytest.approx(9.0)


def test_mark_within_the_tolerance_has_no_ratio():
    # At 2 psi the tolerance eats the whole mark; 0 or negative would mislead.
    assert np.isnan(operating_ratio(0.05, 2.0 * BAR_PER_PSI))


@given(st.floats(0.0, 500.0), pressures)
def test_min_burst_is_the_most_careful_definition(operating: float, marked: float):
    careful, plain, low = (
        float(operating_ratio(operating, marked, definition=definition))
        for definition in RatioDefinition
    )

    assert careful >= low >= plain


@given(pressures, pressures)
def test_least_burst_rises_with_the_mark(one: float, other: float):
    low, high = sorted((one, other))
    # An ulp of slack where both regimes meet at 40 psi.
    assert burst_window(low, 1.0).minimum <= burst_window(high, 1.0).minimum * (1 + 1e-15)


@pytest.mark.parametrize("marked", [0.0, -1.0])
def test_marked_pressure_must_be_positive(marked: float):
    with pytest.raises(ValueError, match="marked burst pressure must be > 0 barg, got"):
        operating_ratio(1.0, marked)
    with pytest.raises(ValueError, match="marked burst pressure must be > 0 barg, got"):
        burst_tolerance([1.0, marked])


def test_range_must_be_a_percentage():
    with pytest.raises(ValueError, match=r"range_minus_pct must lie in \[0, 100\) %"):
        burst_window(np.nan, 10.0, 100.0, 0.0)
