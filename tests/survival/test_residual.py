"""What can still be expected of a disc that has reached an age."""

import numpy as np
import pytest
from scipy.special import gamma

from analytics.errors import InputError
from analytics.survival.law import Family, LifeLaw
from analytics.survival.residual import failure_within, mean_residual_life


def law(scale, shape, family=Family.WEIBULL, install=-np.inf, install_shape=1.0):
    one = np.ones((1, 1))
    return LifeLaw(
        family=family,
        wear_location=np.log(scale) * one,
        wear_sigma=one / shape,
        install_log_rate=install * one,
        install_shape=install_shape * one,
    )


def test_failure_and_residual_life_of_two_weibulls():
    # Closed forms, 10 digits: Weibull(10, 2.5) at age 6, next 3; Weibull(1, 2) at age 0.5.
    assert failure_within(law(10, 2.5), 6, 3)[0, 0] == pytest.approx(0.3871154339, abs=1e-9)
    assert mean_residual_life(law(1, 2), 0.5)[0, 0] == pytest.approx(0.5456413608, abs=1e-9)


@pytest.mark.parametrize("shape", [0.4, 1.0, 5.0])
def test_residual_life_of_a_new_disc_is_the_mean_life(shape):
    # Limiting case: scale * Gamma(1 + 1 / shape), the falling hazard included.
    found = mean_residual_life(law(7, shape), 0.0)[0, 0]

    assert found == pytest.approx(7 * gamma(1 + 1 / shape), rel=1e-9)


def test_residual_life_of_a_lognormal_is_its_mean():
    found = mean_residual_life(law(3, 1.25, Family.LOGNORMAL), 0.0)[0, 0]

    assert found == pytest.approx(3 * np.exp(0.8**2 / 2), rel=1e-9)


def test_exponential_never_ages():
    found = mean_residual_life(law(4, 1, Family.EXPONENTIAL), [[0.0, 1.0, 30.0]])

    assert found == pytest.approx(np.full((1, 3), 4.0), rel=1e-9)


def test_residual_life_of_two_hazards_by_integration():
    two = law(6, 3, install=np.log(0.2), install_shape=0.5)
    grid = np.linspace(0, 40, 400_001)
    alive = 1 - failure_within(two, 2.0, grid[None, :])[0]

    assert mean_residual_life(two, 2.0)[0, 0] == pytest.approx(np.trapezoid(alive, grid), rel=1e-7)


def test_negative_ages_are_refused():
    with pytest.raises(InputError, match=">= 0"):
        failure_within(law(1, 2), -1, 1)
    with pytest.raises(InputError, match=">= 0"):
        mean_residual_life(law(1, 2), -1)
