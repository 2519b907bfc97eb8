"""Fatigue and creep arithmetic against published and hand-worked values."""

import numpy as np
import pytest

from analytics.duty.cycles import extract_cycles
from analytics.duty.damage import (
    Basquin,
    MeanCorrection,
    basquin_life_factor,
    coffin_manson_life_factor,
    corrected_range,
    equivalent_range,
    larson_miller,
    larson_miller_life,
    miner_damage,
    miner_sum,
)

# ASTM E1049-85, 5.4.4 worked history (numbers as the rainflow package 3.2.0 tests give them).
E1049 = extract_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2])


def test_miner_sum_of_blocks():
    # Palmgren-Miner, arithmetic: 1000/1e4 + 200/1e3; and 1e4/1e5 + 5e3/2e4 + 1e3/4e3.
    assert miner_sum([1000, 200], [1e4, 1e3]) == pytest.approx(0.30, rel=1e-12)
    assert miner_sum([1e4, 5e3, 1e3], [1e5, 2e4, 4e3]) == pytest.approx(0.6, rel=1e-12)


def test_damage_sums_of_the_standard_history():
    # Arithmetic on the cycles of E1049: sum n r^3 = 1094, sum n r^5 = 67 838.
    cubes = Basquin(cycles_at_unit_range=1.0, slope=3.0)
    fifths = Basquin(cycles_at_unit_range=1.0, slope=5.0)

    assert miner_damage(E1049.ranges, E1049.counts, cubes) == pytest.approx(1094, rel=1e-9)
    assert miner_damage(E1049.ranges, E1049.counts, fifths) == pytest.approx(67_838, rel=1e-9)


def test_damage_and_equivalent_range_with_stated_curves():
    # Arithmetic: N = 1e6 r^-3 gives 0.001094 and 6.491112113; N = 1e7 r^-5 gives 0.0067838
    # and 7.012657185 (ten digits printed).
    third = Basquin(cycles_at_unit_range=1e6, slope=3.0)
    fifth = Basquin(cycles_at_unit_range=1e7, slope=5.0)

    assert miner_damage(E1049.ranges, E1049.counts, third) == pytest.approx(0.001094, rel=1e-9)
    assert miner_damage(E1049.ranges, E1049.counts, fifth) == pytest.approx(0.0067838, rel=1e-9)
    assert equivalent_range(E1049.ranges, E1049.counts, 3.0) == pytest.approx(6.491112113, rel=1e-9)
    assert equivalent_range(E1049.ranges, E1049.counts, 5.0) == pytest.approx(7.012657185, rel=1e-9)


def test_goodman_and_smith_watson_topper():
    # Arithmetic: 20 to 80 of 100 is amplitude 30 about 50 -> 60 about zero. Amplitude 4 about
    # mean 1, strength 100 -> 4.040404040; SWT sqrt(5 x 4) = 4.472135955. Ranges are twice these.
    goodman = corrected_range([60.0, 8.0], [50.0, 1.0], MeanCorrection.GOODMAN, 100.0)
    swt = corrected_range([8.0], [1.0], MeanCorrection.SMITH_WATSON_TOPPER)

    assert (goodman / 2).tolist() == pytest.approx([60.0, 4.040404040], rel=1e-9)
    assert (swt / 2).tolist() == pytest.approx([4.472135955], rel=1e-9)


def test_correction_never_credits_a_mean_in_compression():
    assert corrected_range([8.0], [-3.0], MeanCorrection.GOODMAN, 100.0).tolist() == [8.0]
    assert corrected_range([8.0], [-5.0], MeanCorrection.SMITH_WATSON_TOPPER).tolist() == [0.0]


def test_damage_with_a_mean_is_damage_at_the_corrected_range():
    curve = Basquin(cycles_at_unit_range=1e6, slope=4.0)
    damage = miner_damage(
        [60.0],
        [2.0],
        curve,
        means=[50.0],
        correction=MeanCorrection.GOODMAN,
        burst_pressure=100.0,
    )

    assert damage == pytest.approx(miner_damage([120.0], [2.0], curve), rel=1e-12)


@pytest.mark.parametrize(
    ("exponent", "factor"),
    # Arithmetic: (0.8/0.9)^(1/b), four digits printed.
    [(-0.12, 2.669), (-0.09, 3.701), (-0.085, 3.998)],
)
def test_basquin_life_gained_by_a_lower_ratio(exponent: float, factor: float):
    assert basquin_life_factor(0.9, 0.8, exponent) == pytest.approx(factor, abs=5e-4)


def test_coffin_manson_life_at_twice_the_strain():
    # Arithmetic: 2^(1/c), c = -0.6 and -0.5.
    assert coffin_manson_life_factor(2.0, -0.6) == pytest.approx(0.315, abs=5e-4)
    assert coffin_manson_life_factor(2.0, -0.5) == pytest.approx(0.25, rel=1e-12)


def test_larson_miller():
    # Callister, materials textbook, creep example (read in excerpt): parameter 24 000 at 1073 K,
    # C = 20 -> 233 h (232.9 computed). The other two are arithmetic: 400 degC for 87 600 h is
    # 16 790.0; the same parameter at 425 degC is 11 203 h.
    assert larson_miller_life(24_000.0, 1073.0) == pytest.approx(232.9, abs=0.05)
    parameter = larson_miller(673.15, 87_600.0)
    assert parameter == pytest.approx(16_790.0, abs=0.05)
    assert larson_miller_life(parameter, 698.15) == pytest.approx(11_203, abs=0.5)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: miner_sum([-1.0], [1.0]), "counts must be >= 0"),
        (lambda: Basquin(cycles_at_unit_range=0.0, slope=3.0), "must be > 0, got 0.0"),
        (lambda: equivalent_range([1.0], [0.0], 3.0), "at least part of a cycle"),
        (
            lambda: corrected_range([1.0], [1.0], MeanCorrection.GOODMAN),
            "Goodman needs a burst_pressure > 0, got nan",
        ),
        (
            lambda: corrected_range([1.0], [9.0], MeanCorrection.GOODMAN, 9.0),
            "means below the burst pressure",
        ),
        (
            lambda: miner_damage(
                [1.0],
                [1.0],
                Basquin(cycles_at_unit_range=1.0, slope=1.0),
                correction=MeanCorrection.GOODMAN,
                burst_pressure=1.0,
            ),
            "goodman needs the means",
        ),
        (lambda: basquin_life_factor(1.0, 2.0, 0.1), "exponent < 0"),
        (lambda: larson_miller(0.0, 1.0), "temperature_k and life_h must be > 0"),
        (lambda: larson_miller_life(1.0, np.nan), "temperature_k must be > 0"),
    ],
)
def test_refuses_what_it_cannot_answer(call, message: str):
    with pytest.raises(ValueError, match=message):
        call()
