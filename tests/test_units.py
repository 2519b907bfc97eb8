import numpy as np
import pytest

from analytics.errors import UnitError
from analytics.units import BAR_PER_PSI, Dimension, convert_from, convert_to, unit_words


@pytest.mark.parametrize(
    ("word", "dimension", "one"),
    [
        # NIST SP 811 (2008), app. B.8, seven printed digits; cited from memory, unverified.
        ("psig", Dimension.GAUGE_PRESSURE, 0.06894757),
        ("kPag", Dimension.GAUGE_PRESSURE, 0.01),
        ("MPag", Dimension.GAUGE_PRESSURE, 10.0),
        ("kgf/cm2g", Dimension.GAUGE_PRESSURE, 0.980665),
        ("lbf.ft", Dimension.TORQUE, 1.355818),
        ("lbf.in", Dimension.TORQUE, 0.1129848),
        ("kgf.m", Dimension.TORQUE, 9.80665),
        ("in", Dimension.LENGTH, 25.4),
        ("d", Dimension.DURATION, 24.0),
    ],
)
def test_one_of_each_unit(word, dimension, one):
    assert convert_from(1.0, word, dimension) == pytest.approx(one, rel=1e-6)


def test_forty_psi_in_bar():
    # 40 lbf/in2 = 2.757903 bar, worked from the exact pound, inch and standard gravity.
    assert convert_from(40.0, "psig", Dimension.GAUGE_PRESSURE) == pytest.approx(40 * BAR_PER_PSI)
    assert 40 * BAR_PER_PSI == pytest.approx(2.757903, abs=5e-7)


def test_absolute_pressure_loses_one_standard_atmosphere():
    # 101 325 Pa by definition, ISO 2533:1975 (from memory, unverified).
    assert convert_from(1.01325, "bara", Dimension.GAUGE_PRESSURE) == pytest.approx(0.0, abs=1e-12)
    assert convert_from(14.695949, "psia", Dimension.GAUGE_PRESSURE) == pytest.approx(0, abs=1e-6)


def test_temperature_has_an_offset():
    assert convert_from(-40.0, "degF", Dimension.TEMPERATURE) == pytest.approx(-40.0)
    assert convert_from(273.15, "K", Dimension.TEMPERATURE) == pytest.approx(0.0)


@pytest.mark.parametrize("dimension", list(Dimension))
def test_there_and_back(dimension):
    values = np.array([0.5, 12.0, np.nan])
    for word in unit_words(dimension):
        back = convert_to(convert_from(values, word, dimension), word, dimension)
        np.testing.assert_allclose(back, values, rtol=1e-12)


@pytest.mark.parametrize("word", ["bar", "psi", "BARG", "", "9**9**9", "N.m", "mmHg"])
def test_a_pressure_word_must_be_allowed_and_say_gauge_or_absolute(word):
    with pytest.raises(UnitError, match="unit must be one of: barg"):
        convert_from(1.0, word, Dimension.GAUGE_PRESSURE)
