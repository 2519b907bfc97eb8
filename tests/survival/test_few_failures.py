import numpy as np
import pytest

from analytics.errors import InputError, NotEstimable
from analytics.survival.few_failures import (
    careful_fit,
    fit_with_prior,
    no_failure_bound,
    scale_bound,
    shape_cases,
)
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import parameters

INF = np.inf
TEN = lifetimes([500.0] * 10, [INF] * 10)


# Nelson (1985), J. Quality Technology 17:140 (from memory; closed form), recomputed with scipy
# chi2: ten units of 500 h without a failure, to a relative 1e-8 (ten printed digits).
@pytest.mark.parametrize(
    ("shape", "confidence", "expected"),
    [
        (1.0, 0.5, 7213.475204),
        (1.0, 0.9, 2171.472410),
        (1.0, 0.95, 1669.041003),
        (1.5, 0.5, 2963.145862),
        (1.5, 0.9, 1330.943272),
        (1.5, 0.95, 1116.780972),
        (2.0, 0.5, 1899.141280),
        (2.0, 0.9, 1041.986662),
        (2.0, 0.95, 913.520937),
        (3.0, 0.5, 1217.198805),
        (3.0, 0.9, 815.764449),
        (3.0, 0.95, 747.255302),
        (2.0, 1 - np.exp(-1.0), 1581.138830),
    ],
)
def test_zero_failures_by_assumed_shape(shape, confidence, expected):
    by_formula = scale_bound([500.0] * 10, shape, confidence=confidence)
    by_likelihood = no_failure_bound(TEN, Family.WEIBULL, shape, confidence=confidence)

    assert by_formula == pytest.approx(expected, rel=1e-8)
    assert by_likelihood == pytest.approx(expected, rel=1e-8)


def test_zero_failures_bound_a_reliability():
    # Same source: R_L(300 h; shape 2, 95 %) = 0.05^(300^2 / (10 * 500^2)) = 0.8977655169.
    scale = no_failure_bound(TEN, Family.WEIBULL, 2.0)

    assert np.exp(-((300 / scale) ** 2)) == pytest.approx(0.8977655169, rel=1e-9)


@pytest.mark.parametrize("family", list(Family), ids=lambda f: f.value)
def test_at_the_bound_no_failure_is_just_likely_enough(family):
    # Independent route: the chance of no failure, entry ages counted, is 1 - C at the bound.
    from analytics.survival.few_failures import _law
    from analytics.survival.law import survival

    data = lifetimes([3.0, 5.0, 9.0], [INF] * 3, entry=[0.0, 4.0, 1.0], weight=[2, 1, 1])
    scale = no_failure_bound(data, family, 1.7, confidence=0.9)
    tenth = no_failure_bound(data, family, 1.7, fraction=0.1, confidence=0.9)
    sigma = 1.0 if family is Family.EXPONENTIAL else 1 / 1.7
    law = _law(family, np.log(scale), sigma)
    kept = survival(law, data.lower)[0] / survival(law, data.entry)[0]

    assert np.prod(kept**data.weight) == pytest.approx(0.1, rel=1e-9)
    assert survival(law, tenth)[0, 0] == pytest.approx(0.9, rel=1e-9)


def test_bound_by_formula_is_conservative_beside_the_likelihood():
    # Limiting case: with the shape known, 2 sum(t^k) / eta^k is chi-square; at 20 failures of
    # 20 the one-sided 95 % bound and the lower end of the two-sided 90 % ratio limits nearly
    # meet, the formula (time-ended, one more failure) a little lower.
    times = np.random.default_rng(3).weibull(2.0, 20) * 100
    result = fit(lifetimes(times), Family.WEIBULL, shape=2.0)
    ratio = limits(result, parameters(result)[0], confidence=0.9).likelihood_ratio[0]
    formula = scale_bound(times, 2.0, failures=20)

    assert 0.95 < formula / ratio < 1.0


@pytest.mark.parametrize("family", list(Family)[:3], ids=lambda f: f.value)
def test_cases_with_one_failure_have_limits(family):
    data = lifetimes([3.0, 5.0, 8.0], [3.0, INF, INF])
    cases = shape_cases(data, family)

    assert [case.shape for case in cases] == [1.0, 1.5, 2.0, 3.0]
    for case in cases:
        low, high = case.scale.likelihood_ratio
        assert 0 < low < case.scale.estimate < high
        assert case.b10.estimate < case.scale.estimate
    # The prior lies among the cases and says so.
    held = fit_with_prior(data, family)
    assert 1.0 < 1 / held.sigma < 3.0
    assert "a prior was used: shape 1.5 within a factor of 3" in held.warnings[-1]


def test_careful_fit_uses_a_prior_only_where_failures_cannot_carry_the_fit():
    random = np.random.default_rng(5)
    life = random.weibull(2.0, 40) * 9
    x = random.normal(size=(40, 1))
    many = lifetimes(np.minimum(life, 8), np.where(life < 8, life, INF))
    few = lifetimes(np.minimum(life, 3), np.where(life < 3, life, INF))
    separated = np.where(many.ended, 0.0, 1.0)[:, None]
    plain = careful_fit(many, Family.WEIBULL, x, ("ratio",))
    held = careful_fit(few, Family.WEIBULL, x, ("ratio",))
    mended = careful_fit(many, Family.WEIBULL, separated, ("defect",))

    assert few.failures < 10 <= many.failures
    assert plain.coefficients == pytest.approx(
        fit(many, Family.WEIBULL, x, ("ratio",)).coefficients
    )
    assert plain.warnings == ()
    assert "a prior was used" in held.warnings[-1]
    assert "failures, fewer than 10" in held.warnings[0]
    assert "log hazard ratios 0 with standard deviation 2.5" in mended.warnings[-1]
    with pytest.raises(NotEstimable, match="must have ended"):
        careful_fit(TEN, Family.WEIBULL)
    with pytest.raises(NotEstimable, match="must not repeat"):
        careful_fit(many, Family.WEIBULL, np.c_[x, 2 * x], ("a", "b"))


def test_the_prior_does_not_know_the_units_of_a_covariate():
    # Limiting case: the prior on effects is stated over two standard deviations.
    data = lifetimes([3.0, 5.0, 8.0, 9.0], [3.0, 5.0, INF, INF])
    x = np.array([[0.4], [0.9], [0.5], [0.1]])
    here = fit_with_prior(data, Family.WEIBULL, x, ("ratio",))
    there = fit_with_prior(data, Family.WEIBULL, 1e3 * x + 7, ("percent",))

    assert 1e3 * there.coefficients[1] == pytest.approx(here.coefficients[1], rel=1e-6)
    assert there.sigma == pytest.approx(here.sigma, rel=1e-6)


def test_cases_without_failures_are_one_sided():
    (case,) = shape_cases(TEN, Family.EXPONENTIAL)

    assert np.isnan(case.scale.estimate)
    assert case.scale.likelihood_ratio == (pytest.approx(1669.041003), None)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: scale_bound([], 2.0), InputError, "ages must be one or more"),
        (lambda: scale_bound([0.0], 2.0), InputError, "at least one > 0"),
        (lambda: scale_bound([1.0], 0.0), InputError, "shape must be > 0"),
        (lambda: scale_bound([1.0], 2.0, failures=2), InputError, "failures must lie between"),
        (lambda: scale_bound([1.0], 2.0, confidence=1.0), InputError, r"confidence.*\(0, 1\)"),
        (lambda: no_failure_bound(lifetimes([1.0]), Family.WEIBULL, 2.0), NotEstimable, "got 1"),
        (
            lambda: no_failure_bound(lifetimes([0.0], [INF]), Family.WEIBULL, 2.0),
            NotEstimable,
            "some time in service",
        ),
        (
            lambda: no_failure_bound(TEN, Family.WEIBULL, 2.0, fraction=1.0),
            InputError,
            "fraction must lie",
        ),
    ],
)
def test_bad_questions_are_refused(call, error, message):
    with pytest.raises(error, match=message):
        call()
