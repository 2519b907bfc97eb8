"""Scores of forecasts and limits of counts."""

import numpy as np
import pytest
from scipy.stats import norm, poisson

from analytics.errors import InputError
from analytics.survival.scores import (
    brier_score,
    crps_normal,
    crps_pmf,
    crps_poisson,
    gamma_poisson_pmf,
    garwood_limits,
    interval_score,
    log_score,
    pinball_loss,
)


@pytest.mark.parametrize(
    ("mean", "std", "observed", "expected"),
    [
        # Closed form of Gneiting & Raftery (2007), computed with properscoring 0.1; 10 digits.
        (0, 1, 0, 0.2336949773),
        (0, 1, 1, 0.6024413576),
        (2, 3, -1, 1.8073240729),
    ],
)
def test_crps_of_a_normal_forecast(mean, std, observed, expected):
    assert crps_normal(mean, std, observed) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("mean", "observed", "expected"),
    # Wei & Held (2014), Test 23; computed by direct summation, 10 digits.
    [(1, 0, 0.4762223882), (3, 3, 0.3881241701), (3, 7, 3.0782614820)],
)
def test_crps_of_a_poisson_forecast(mean, observed, expected):
    assert crps_poisson(mean, observed) == pytest.approx(expected, abs=1e-9)


def test_crps_of_a_listed_forecast():
    # By hand from the definition, forecast .2 .5 .2 .1 at 0, 1, 2, 3.
    scores = crps_pmf([0.2, 0.5, 0.2, 0.1], np.arange(4))

    assert scores == pytest.approx([0.74, 0.14, 0.54, 1.34], abs=1e-12)


def test_log_score_of_a_poisson_forecast():
    # -log P(3 | mean 3), 10 digits.
    assert log_score(poisson.pmf(3, 3)) == pytest.approx(1.4959226032, abs=1e-9)
    assert log_score(0.0) == np.inf


def test_listed_and_closed_forms_agree_far_out():
    # Independent route: the Poisson pmf listed, also for counts beyond the list.
    observed = np.array([0, 4, 12, 80])
    listed = crps_pmf(poisson.pmf(np.arange(60), 4.2), observed)

    assert listed == pytest.approx(crps_poisson(4.2, observed), abs=1e-9)


def test_crps_pmf_takes_one_forecast_per_row():
    rows = np.array([[1.0, 0.0], [0.25, 0.75]])

    assert crps_pmf(rows, [0, 0]) == pytest.approx([0.0, 0.5625])


def test_crps_of_a_certain_forecast_is_the_distance():
    assert crps_pmf([0, 0, 1.0], [0, 2, 7]) == pytest.approx([2, 0, 5])


def test_crps_normal_by_integration():
    grid = np.linspace(-12, 12, 240_001)
    values = (norm.cdf(grid) - (grid >= 0.7)) ** 2

    assert crps_normal(0, 1, 0.7) == pytest.approx(np.trapezoid(values, grid), abs=1e-4)


def test_brier_and_pinball():
    # Arithmetic: (0.04 + 0.09 + 0.36) / 3; 0.9 * 3 and 0.1 * 3.
    assert brier_score([0.8, 0.3, 0.6], [1, 0, 0]) == pytest.approx(0.1633333333, abs=1e-9)
    assert pinball_loss(0.9, 5, [8, 2]) == pytest.approx([2.7, 0.3], abs=1e-12)


def test_interval_score_is_the_sum_of_its_two_pinball_losses():
    # Independent route (Gneiting & Raftery 2007): 2 / alpha times both quantile losses.
    for y in (0.0, 2.0, 9.0):
        losses = pinball_loss(0.05, 1.0, y) + pinball_loss(0.95, 4.0, y)
        assert interval_score(1.0, 4.0, y, confidence=0.9) == pytest.approx(losses * 2 / 0.1)


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        # Garwood (1936), chi-square form computed with scipy, 10 digits.
        (0, 0.0, 3.6888794541),
        (3, 0.6186721229, 8.7672730697),
        (10, 4.7953886961, 18.3903560420),
    ],
)
def test_garwood_limits(count, low, high):
    limits = garwood_limits(count)

    assert limits.low == pytest.approx(low, abs=1e-9)
    assert limits.high == pytest.approx(high, abs=1e-9)


@pytest.mark.parametrize(
    ("mean", "coverage"),
    # Exact coverage of the Garwood limits, summed over all counts, 10 digits.
    [(1, 0.9810118431), (3, 0.9880954961), (10, 0.9753863357)],
)
def test_garwood_limits_cover_what_they_claim(mean, coverage):
    counts = np.arange(80)
    limits = [garwood_limits(int(k)) for k in counts]
    inside = np.array([x.low <= mean <= x.high for x in limits])

    assert poisson.pmf(counts, mean)[inside].sum() == pytest.approx(coverage, abs=1e-9)


def test_garwood_limits_scale_with_exposure():
    # 3 bursts in 250 disc-years.
    limits = garwood_limits(3, exposure=250)

    assert (limits.estimate, limits.low) == pytest.approx((0.012, 0.6186721229 / 250))


def test_gamma_poisson_forecast():
    # Negative binomial (2.5, 4 / 5.5), 10 digits; mean .9375, variance 1.2890625 exactly.
    pmf = gamma_poisson_pmf(2.5, 4.0, 1.5)
    counts = np.arange(pmf.size)

    assert pmf[:5] == pytest.approx(
        [0.4510692842, 0.3075472392, 0.1467839096, 0.0600479630, 0.0225179861], abs=1e-9
    )
    assert pmf @ counts == pytest.approx(0.9375, abs=1e-9)
    assert pmf @ counts**2 - (pmf @ counts) ** 2 == pytest.approx(1.2890625, abs=1e-8)
    assert gamma_poisson_pmf(2.5, 4.0, 0.0)[0] == 1.0


def test_gamma_poisson_is_poisson_when_the_rate_is_known():
    # Limiting case: shape and rate huge, their ratio fixed.
    pmf = gamma_poisson_pmf(2e9, 1e9, 1.0)

    assert pmf[:8] == pytest.approx(poisson.pmf(np.arange(8), 2.0), abs=1e-7)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: crps_pmf([0.9, 0.9], 0), "sum of at most 1"),
        (lambda: crps_pmf([-0.1, 1.0], 0), "probabilities >= 0"),
        (lambda: crps_pmf([np.nan, 1.0], 0), "probabilities >= 0"),
        (lambda: crps_pmf([1.0], -1), "whole numbers >= 0"),
        (lambda: crps_normal(0, 0, 1), "std must be > 0"),
        (lambda: crps_poisson(-1, 1), "mean must be >= 0"),
        (lambda: brier_score([1.2], [1]), "in \\[0, 1\\]"),
        (lambda: brier_score([], []), "one or more"),
        (lambda: pinball_loss(1, 0, 0), "level must lie in"),
        (lambda: interval_score(2, 1, 0), "low must not exceed high"),
        (lambda: interval_score(1, 2, 0, confidence=2), "confidence"),
        (lambda: garwood_limits(-1), "whole numbers >= 0"),
        (lambda: garwood_limits(1, exposure=0), "exposure must be > 0"),
        (lambda: garwood_limits(1, confidence=0), "confidence"),
        (lambda: gamma_poisson_pmf(0, 1, 1), "shape and rate must be > 0"),
    ],
)
def test_bad_input_is_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
