import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import chi2

from analytics.errors import InputError
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes
from analytics.survival.limits import (
    likelihood_ratio_limits,
    limits,
    simultaneous_band,
    wald_limits,
)
from analytics.survival.quantities import failure_probability, life_quantile, parameters

INF = np.inf
FAMILIES = list(Family)


def small(family=Family.WEIBULL, n=40, seed=3):
    random = np.random.default_rng(seed)
    x = random.normal(size=(n, 1))
    life = np.exp(1 + 0.4 * x[:, 0]) * random.weibull(1.8, n)
    end = random.uniform(0.5, 6, n)
    data = lifetimes(np.minimum(life, end), np.where(life < end, life, INF))
    return fit(data, family, x, ("ratio",)), data, x


def log_likelihood(family, theta, data, x):
    """The likelihood written out, by (intercept, effect, log sigma)."""
    z = (np.log(data.lower) - theta[0] - theta[1] * x[:, 0]) / np.exp(theta[2])
    if family is Family.LOGLOGISTIC:
        log_s = -np.logaddexp(0, z)
        log_f = z + 2 * log_s
    else:
        log_s = -np.exp(z)
        log_f = z + log_s
    return np.where(data.exact, log_f - theta[2] - np.log(data.lower), log_s).sum()


@pytest.mark.parametrize("family", [Family.WEIBULL, Family.LOGLOGISTIC], ids=lambda f: f.value)
def test_profile_limits_against_a_plain_optimiser(family):
    # Independent route: scipy's simplex over the other parameters at the limits found.
    result, data, x = small(family)
    drop = chi2.ppf(0.95, 1) / 2

    def profile(hold):
        def loss(free):
            return -log_likelihood(family, hold(free), data, x)

        start = np.array([result.coefficients[0], np.log(result.sigma)])
        options = {"xatol": 1e-10, "fatol": 1e-12, "maxiter": 5000}
        return -minimize(loss, start, method="Nelder-Mead", options=options).fun

    _, effect, _ = parameters(result)
    for end in likelihood_ratio_limits(result, effect):
        fell = result.log_likelihood - profile(lambda free, e=end: [free[0], e, free[1]])
        assert fell == pytest.approx(drop, rel=1e-6)
    b10 = life_quantile(result, 0.1, [0.5])
    w = np.log(-np.log(0.9)) if family is Family.WEIBULL else np.log(0.1 / 0.9)
    for end in likelihood_ratio_limits(result, b10):
        # intercept follows from the quantile held: log t - 0.5 b - sigma w
        def hold(free, end=end):
            return [np.log(end) - 0.5 * free[0] - np.exp(free[1]) * w, free[0], free[1]]

        assert result.log_likelihood - profile(hold) == pytest.approx(drop, rel=1e-6)


def test_exponential_limits_solve_their_closed_form():
    # Closed form: 2 r (m - 1 - log m) = 3.841 with m = estimate / limit.
    data = lifetimes([3.0, 4.0, 9.0, 2.0], [3.0, 4.0, INF, 2.0])
    result = fit(data, Family.EXPONENTIAL)
    scale = limits(result, parameters(result)[0])
    ratio = scale.estimate / np.array(scale.likelihood_ratio)

    assert 2 * 3 * (ratio - 1 - np.log(ratio)) == pytest.approx([chi2.ppf(0.95, 1)] * 2)
    assert scale.wald == pytest.approx(
        scale.estimate * np.exp(np.array([-1, 1]) * 1.959963985 / np.sqrt(3))
    )


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.value)
def test_limits_stay_in_range_and_around_the_estimate(family):
    result, _, _ = small(family, n=12)
    asked = [
        *parameters(result),
        *(life_quantile(result, p, [3.0]) for p in (1e-6, 0.01, 0.05, 0.1, 0.5, 0.999)),
        *(failure_probability(result, age, [-2.0]) for age in (1e-9, 0.1, 3.0, 1e6)),
    ]
    for quantity in asked:
        told = limits(result, quantity)
        for low, high in (told.wald, told.likelihood_ratio):
            assert low is None or low <= told.estimate
            assert high is None or told.estimate <= high
        if quantity.name == "failure_probability":
            assert 0 <= told.wald[0] <= told.wald[1] <= 1
        elif quantity.name not in ("intercept", "ratio"):
            assert told.wald[0] > 0


def test_wald_meets_the_likelihood_ratio_in_many_lives():
    # Limiting case: both kinds of limits agree as the likelihood becomes a parabola.
    result, _, _ = small(n=40_000)
    for quantity in (*parameters(result), life_quantile(result, 0.1, [0.0])):
        told = limits(result, quantity)
        width = told.wald[1] - told.wald[0]
        assert told.likelihood_ratio == pytest.approx(told.wald, abs=0.02 * width)


def test_confidence_and_limits_grow_together():
    result, _, _ = small()
    shape = parameters(result)[-1]
    low50, high50 = likelihood_ratio_limits(result, shape, confidence=0.5)
    low99, high99 = likelihood_ratio_limits(result, shape, confidence=0.99)

    assert low99 < low50 < result.sigma < high50 < high99


def test_an_open_side_is_none():
    # Looked at once: 2 of 6 gone by 3, 4 of 6 by 6. No spread can be ruled out from above: as
    # sigma grows the likelihood falls to 12 log(1/2), less than 1.92 below its summit.
    data = lifetimes([0, 3, 0, 6], [3, INF, 6, INF], weight=[2, 4, 4, 2])
    result = fit(data, Family.LOGNORMAL)
    location, sigma = (limits(result, quantity) for quantity in parameters(result))

    assert 2 * (result.log_likelihood - 12 * np.log(0.5)) < chi2.ppf(0.95, 1)
    assert sigma.likelihood_ratio[1] is None
    assert 0 < sigma.likelihood_ratio[0] < sigma.estimate
    assert limits(result, life_quantile(result, 0.1)).likelihood_ratio[0] is None
    # Ten times the lives rule it out.
    more = lifetimes(data.lower, data.upper, weight=10 * data.weight)
    told = fit(more, Family.LOGNORMAL)
    assert None not in limits(told, parameters(told)[1]).likelihood_ratio
    assert location.estimate == pytest.approx(told.coefficients[0])


def test_simultaneous_band_is_wider_and_holds_the_joint_region():
    result, _, _ = small()
    ages = [0.2, 1.0, 3.0, 10.0]
    probability, low, high = simultaneous_band(result, ages, [0.0])
    for age, p, band in zip(ages, probability, np.c_[low, high], strict=True):
        one = limits(result, failure_probability(result, age, [0.0]))
        assert one.estimate == pytest.approx(p)
        assert band[0] < one.likelihood_ratio[0] < p < one.likelihood_ratio[1] < band[1]
        two = likelihood_ratio_limits(result, failure_probability(result, age, [0.0]), dimensions=2)
        assert band == pytest.approx(two)
    assert (np.diff(low) > 0).all()
    assert (np.diff(high) > 0).all()


def test_bad_questions_are_refused():
    result, _, _ = small()
    with pytest.raises(InputError, match=r"fraction must lie in \(0, 1\), got 1"):
        life_quantile(result, 1, [0.0])
    with pytest.raises(InputError, match="age must be > 0"):
        failure_probability(result, 0.0, [0.0])
    with pytest.raises(InputError, match=r"needs 1 finite numbers \(ratio\)"):
        failure_probability(result, 1.0)
    with pytest.raises(InputError, match="needs 1 finite"):
        life_quantile(result, 0.1, [np.nan])
    with pytest.raises(InputError, match=r"confidence must lie in \(0, 1\)"):
        wald_limits(result, parameters(result)[0], confidence=95)
