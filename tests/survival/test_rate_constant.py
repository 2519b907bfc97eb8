"""Limits of the rate constant of a power-law process."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import chi2

from analytics.errors import InputError
from analytics.survival.histories import histories
from analytics.survival.power_law import fit_power_law
from analytics.survival.rate_constant import rate_constant_limits
from datasets.reference import path


def test_watched_to_time_one_it_is_the_mean_of_a_poisson_count():
    # Limiting case: with every end at 1 the shape drops out and N events in k systems give the
    # likelihood-ratio limits of a Poisson mean.
    data = histories([0.2, 0.7, 0.9, 0.4, 0.6], end=1.0, system=[0, 0, 0, 1, 2])
    found = rate_constant_limits(data, fit_power_law(data), confidence=0.9)

    def short(rate):
        return 2 * (5 * np.log((5 / 3) / rate) - (5 - 3 * rate)) - chi2.ppf(0.9, 1)

    assert found.estimate == pytest.approx(5 / 3)
    assert found.low == pytest.approx(brentq(short, 0.1, 5 / 3), rel=1e-9)
    assert found.high == pytest.approx(brentq(short, 5 / 3, 9), rel=1e-9)


def test_nist_limits_by_a_fine_grid():
    # Independent route: the log-likelihood of the NIST repairs (e-Handbook 8.2.2.3) on a grid.
    times = pd.read_csv(path("nist_repair"))["t"].to_numpy(dtype=float)
    data = histories(times, end=1500.0)
    fit = fit_power_law(data)
    found = rate_constant_limits(data, fit)

    shape = np.linspace(0.05, 2.0, 40_001)
    for rate in (found.low, found.high):
        height = (
            10 * np.log(rate * shape) + (shape - 1) * np.log(times).sum() - rate * 1500**shape
        ).max()
        assert 2 * (fit.log_likelihood - height) == pytest.approx(3.841459, abs=1e-5)


def test_limits_cover_the_truth():
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(400):
        count = max(rng.poisson(2 * 5**1.3), 2)
        data = histories(5 * rng.random(count) ** (1 / 1.3), end=5.0)
        limits = rate_constant_limits(data, fit_power_law(data))
        held += limits.low <= 2.0 <= limits.high
    assert held / 400 == pytest.approx(0.95, abs=0.03)


@pytest.mark.parametrize("unit", [1e-9, 1e12])
def test_extreme_units_are_no_trouble(unit):
    data = histories(np.array([2.0, 5, 9, 11]) * unit, end=12.0 * unit)
    found = rate_constant_limits(data, fit_power_law(data))

    assert 0 < found.low < found.estimate < found.high < np.inf


def test_level_that_is_none_is_refused():
    data = histories([1.0, 2.0], end=3.0)
    with pytest.raises(InputError, match="confidence"):
        rate_constant_limits(data, fit_power_law(data), confidence=1.0)
