"""Risk before an age and the age of a risk."""

import numpy as np
import pytest
from interval_cases import some_law, wear_only

from analytics.errors import InputError
from analytics.intervals.risk import (
    age_at_risk,
    premature_probability,
    premature_probability_from,
)
from analytics.survival.law import Family, survival


def test_known_weibull_life():
    # Own check list, computed from F = 1 - exp(-(t/8)^2): F(5) = 0.32337, B10 = 2.5967.
    law = wear_only(2.0, 8.0)
    assert premature_probability(law, 5.0)[0, 0] == pytest.approx(0.32337, abs=5e-6)
    assert age_at_risk(law, 0.10)[0, 0] == pytest.approx(2.5967, abs=5e-5)
    # Weibull 3, 5 years: F(3 -> 5 given 3) = 0.54342.
    assert premature_probability_from(wear_only(3.0, 5.0), 3.0, 5.0)[0, 0] == pytest.approx(
        0.54342, abs=5e-6
    )


@pytest.mark.parametrize("family", list(Family))
@pytest.mark.parametrize("target", [1e-4, 0.02, 0.5, 0.99])
def test_age_at_risk_meets_its_target(family, target):
    law = some_law(family, draws=40, units=30)
    ages = age_at_risk(law, target)
    far = np.isinf(ages)

    assert (1 - survival(law, ages))[~far] == pytest.approx(target, rel=1e-9)
    assert ((1 - survival(law, 1e4))[far] <= target).all()


def test_upsets_take_lives_that_would_have_failed():
    # Exponential wear at rate 1/8 beside upsets at rate d: the chance of failing first before T
    # is (1/8) / (1/8 + d) (1 - exp(-(1/8 + d) T)).
    law = wear_only(1.0, 8.0, Family.EXPONENTIAL)
    found = premature_probability(law, 3.0, demand_rate=0.2)[0, 0]

    assert found == pytest.approx(0.125 / 0.325 * (1 - np.exp(-0.325 * 3)), rel=1e-9)
    assert found < premature_probability(law, 3.0)[0, 0]


def test_risk_from_today_is_none_for_a_date_in_the_past():
    assert premature_probability_from(some_law(), 3.0, 2.0) == pytest.approx(0.0)


def test_running_to_failure_fails_in_the_end():
    assert premature_probability(some_law(), np.inf) == pytest.approx(1.0)


@pytest.mark.parametrize("target", [0.0, 1.0, -0.1, np.nan])
def test_targets_outside_0_1_are_refused(target):
    with pytest.raises(InputError, match="risk target must lie in"):
        age_at_risk(wear_only(2.0), target)
