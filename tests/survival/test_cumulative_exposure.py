import numpy as np
import pytest

from analytics.errors import InputError, NotEstimable
from analytics.survival.cumulative_exposure import (
    _surface,
    exposure_limits,
    fit_exposure,
)
from analytics.survival.fit import fit, life_law
from analytics.survival.law import Family, survival
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import parameters
from analytics.survival.stretches import stretches

INF = np.inf
NAMES = ("ratio", "cycles")


def fleet(n=150, seed=1) -> tuple[Lifetimes, np.ndarray]:
    random = np.random.default_rng(seed)
    x = np.c_[random.uniform(-0.5, 0.5, n), random.normal(3, 2, n)]
    life = np.exp(2 + x @ [-1.0, 0.1]) * random.weibull(2.0, n)
    end = random.uniform(1, 25, n)
    lower, upper = np.minimum(life, end), np.where(life < end, life, INF)
    looked = np.isfinite(upper) & (random.random(n) < 0.4)
    lower = np.where(looked, np.floor(lower), lower)
    upper = np.where(looked, np.floor(upper) + 1, upper)
    entry = np.where((lower > 1.5) & (random.random(n) < 0.4), 1.0, 0.0)
    return lifetimes(lower, upper, entry=entry), x


def in_parts(data, x, parts, seed=0):
    """The same duty told in several stretches per life."""
    random = np.random.default_rng(seed)
    n = len(data)
    end = np.where(data.ended, data.upper, data.lower)
    cuts = np.sort(random.random((n, parts - 1)), axis=1) * end[:, None]
    edges = np.c_[np.zeros(n), cuts, end + 0.5]
    life = np.repeat(np.arange(n), parts)
    return stretches(life, edges[:, :-1].ravel(), edges[:, 1:].ravel(), x[life], data)


@pytest.mark.parametrize("family", list(Family), ids=lambda f: f.value)
@pytest.mark.parametrize("parts", [1, 4])
def test_constant_duty_is_the_plain_regression(family, parts):
    # Limiting case: if the duty never changes, exposure is age times a constant.
    data, x = fleet()
    plain = fit(data, family, x, NAMES)
    result = fit_exposure(data, family, in_parts(data, x, parts), NAMES)

    assert result.log_likelihood == pytest.approx(plain.log_likelihood, rel=1e-9)
    assert result.coefficients == pytest.approx(plain.coefficients, rel=1e-6)
    assert result.sigma == pytest.approx(plain.sigma, rel=1e-6)
    assert result.covariance == pytest.approx(plain.covariance, rel=1e-4, abs=1e-8)
    ratio = limits(plain, parameters(plain)[1])
    told = exposure_limits(result, "ratio")
    assert told.likelihood_ratio == pytest.approx(ratio.likelihood_ratio, rel=1e-5)
    assert told.wald == pytest.approx(ratio.wald, rel=1e-5)
    law = life_law(result, [[0.1, 3.0]])
    assert survival(law, 4.0) == pytest.approx(survival(life_law(plain, [[0.1, 3.0]]), 4.0))


def stepped(n=400, seed=3, shape=1.0):
    """Duty 0 until a step age, then 1, which halves the life that is left; shape as given."""
    random = np.random.default_rng(seed)
    step = random.uniform(1, 6, n)
    exposure = 8 * random.weibull(shape, n)  # scale 8 at duty 0
    life = np.where(exposure < step, exposure, step + (exposure - step) / 2)
    end = random.uniform(4, 14, n)
    data = lifetimes(np.minimum(life, end), np.where(life < end, life, INF))
    index = np.repeat(np.arange(n), 2)
    edges = np.c_[np.zeros(n), step, np.full(n, 20.0)]
    duty = stretches(
        index, edges[:, :-1].ravel(), edges[:, 1:].ravel(), np.tile([[0.0], [1.0]], (n, 1)), data
    )
    return data, duty, step


def test_exponential_step_is_failures_over_time_at_each_duty():
    # Closed form: for the exponential each duty has its own rate, failures over time.
    data, duty, step = stepped()
    before = np.minimum(data.lower, step).sum()
    after = np.maximum(data.lower - step, 0).sum()
    early = (data.ended & (data.lower <= step)).sum()
    late = (data.ended & (data.lower > step)).sum()
    result = fit_exposure(data, Family.EXPONENTIAL, duty, ("high",))
    means = np.log(before / early), np.log(after / late)

    assert result.coefficients == pytest.approx([means[0], means[1] - means[0]], rel=1e-8)
    assert result.covariance[1, 1] == pytest.approx(1 / early + 1 / late, rel=1e-6)
    # ... and its log-likelihood that of two Poisson counts.
    wanted = sum(r * np.log(r / t) - r for r, t in ((early, before), (late, after)))
    assert result.log_likelihood == pytest.approx(wanted, rel=1e-10)


def test_memory_of_used_life_is_found_again():
    # Regression value against truth: a step that halves the life left, shape 2.
    data, duty, _ = stepped(n=4000, seed=4, shape=2.0)
    result = fit_exposure(data, Family.WEIBULL, duty, ("high",))
    error = np.r_[result.coefficients - [np.log(8), -np.log(2)], np.log(result.sigma / 0.5)]

    assert (np.abs(error) < 4 * np.sqrt(np.diag(result.covariance))).all()
    low, high = exposure_limits(result, "high").likelihood_ratio
    assert low < -np.log(2) < high
    low, high = exposure_limits(result, "sigma").likelihood_ratio
    assert low < 0.5 < high


@pytest.mark.parametrize("family", list(Family)[:3], ids=lambda f: f.value)
def test_slopes_are_those_of_the_value(family):
    # Independent route: central differences.
    data, x = fleet(60)
    random = np.random.default_rng(2)
    duty = in_parts(data, x, 3)
    duty.design[:] += random.normal(0, 0.3, duty.design.shape)
    rows = fit_exposure(data, family, duty, NAMES).rows
    theta = np.array([0.3, -0.4, 0.2, 1.3])
    _, gradient, hessian = _surface(rows, theta)
    h = 1e-5
    for j in range(4):
        step = h * np.eye(4)[j]
        high, low = _surface(rows, theta + step), _surface(rows, theta - step)
        assert (high[0] - low[0]) / (2 * h) == pytest.approx(gradient[j], rel=1e-6, abs=1e-5)
        assert (high[1] - low[1]) / (2 * h) == pytest.approx(hessian[j], rel=1e-6, abs=1e-4)


def test_refusals():
    data = lifetimes([3.0, 5.0, 4.0], [3.0, INF, 4.0])
    x = [[0.0], [1.0], [2.0]]
    for life, start, stop, message in [
        ([0, 1, 2], [0, 0, 0], [3, 4, 5], "last known age; not so in life 1"),
        ([0, 1, 2], [0, 1, 0], [3, 5, 5], "the first at 0; not so in life 1"),
        ([0, 1, 1], [0, 0, 2], [3, 1, 5], "every life from 0 to 2"),
        ([0, 1, 2], [0, 0, 0], [3, 5, np.nan], "finite ages"),
        ([0, 1, 2], [0, 0, 0], [0, 5, 5], "must stop after its start; not so in life 0"),
        ([0, 1], [0, 0, 0], [3, 5, 5], "one life, start, stop"),
    ]:
        with pytest.raises(InputError, match=message):
            stretches(life, start, stop, x, data)
    duty = stretches([0, 1, 2], [0, 0, 0], [3, 5, 5], x, data)
    with pytest.raises(InputError, match="1 covariates, names 2"):
        fit_exposure(data, Family.WEIBULL, duty, NAMES)
    flat = stretches([0, 1, 2], [0, 0, 0], [3, 5, 5], np.ones((3, 1)), data)
    with pytest.raises(NotEstimable, match="must vary"):
        fit_exposure(data, Family.WEIBULL, flat, ("ratio",))
    none = lifetimes([3.0, 5.0, 4.0], [INF] * 3)
    with pytest.raises(NotEstimable, match="must have ended"):
        fit_exposure(none, Family.WEIBULL, duty, ("ratio",))
    data, duty, _ = stepped()
    with pytest.raises(InputError, match="name must be one of high, got 'sigma'"):
        exposure_limits(fit_exposure(data, Family.EXPONENTIAL, duty, ("high",)), "sigma")
