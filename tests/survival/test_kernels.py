import numpy as np
import pytest
from scipy.special import expit, log_ndtr
from scipy.stats import logistic, norm

from analytics.survival.kernels import (
    EXACT,
    INTERVAL,
    LEFT,
    RIGHT,
    TRUNCATED,
    column_spans,
    likelihood_sums,
    row_terms,
    standard_hazard,
)

FAMILIES = {"weibull": 0, "lognormal": 1, "loglogistic": 2}
KINDS = (RIGHT, EXACT, LEFT, INTERVAL)


def sf(family, z):
    return {0: np.exp(-np.exp(z)), 1: norm.sf(z), 2: logistic.sf(z)}[family]


def pdf(family, z):
    return {0: np.exp(z - np.exp(z)), 1: norm.pdf(z), 2: logistic.pdf(z)}[family]


def rows(seed=1, n=700):
    random = np.random.default_rng(seed)
    kind = random.choice(KINDS, n).astype(np.uint8)
    lower = random.normal(size=n)
    upper = lower + random.exponential(size=n)
    entry = np.minimum(lower, upper) - random.exponential(size=n)
    kind[(random.random(n) < 0.4) & (kind != LEFT)] += TRUNCATED
    design = random.normal([2.0, -1.0], [1.5, 0.3], size=(n, 2))
    return kind, entry, lower, upper, random.integers(0, 4, n).astype(float), design


def sums(family, theta, data):
    kind, entry, lower, upper, weight, design = data
    centre, spread = np.array([2.0, -1.0]), np.array([1.5, 0.5])
    return likelihood_sums(
        family, kind, entry, lower, upper, weight, design, centre, spread, np.array(theta)
    )


THETA = [0.3, -0.4, 0.2, 1.3]


@pytest.mark.parametrize("family", FAMILIES.values(), ids=FAMILIES)
def test_value_is_the_likelihood_written_out(family):
    # Independent route: the textbook likelihood of each kind of row, by scipy's distributions.
    data = kind, entry, lower, upper, weight, design = rows()
    x = (design - [2.0, -1.0]) / [1.5, 0.5]
    linear = THETA[0] + x @ np.array(THETA[1:3])
    z_entry, z_lower, z_upper = (THETA[3] * y - linear for y in (entry, lower, upper))
    base = kind % TRUNCATED
    chance = np.select(
        [base == RIGHT, base == EXACT, base == LEFT],
        [sf(family, z_lower), pdf(family, z_lower), 1 - sf(family, z_upper)],
        sf(family, z_lower) - sf(family, z_upper),
    )
    chance = chance / np.where(kind >= TRUNCATED, sf(family, z_entry), 1.0)

    assert sums(family, THETA, data)[0] == pytest.approx(weight @ np.log(chance), rel=1e-12)


@pytest.mark.parametrize("family", FAMILIES.values(), ids=FAMILIES)
def test_slopes_are_those_of_the_value(family):
    # Independent route: central differences of value and gradient.
    data = rows(seed=2)
    _, gradient, hessian = sums(family, THETA, data)
    h = 1e-5
    for j in range(4):
        up, down = np.array(THETA), np.array(THETA)
        up[j] += h
        down[j] -= h
        high, low = sums(family, up, data), sums(family, down, data)
        assert (high[0] - low[0]) / (2 * h) == pytest.approx(gradient[j], rel=1e-6, abs=1e-4)
        assert (high[1] - low[1]) / (2 * h) == pytest.approx(hessian[j], rel=1e-6, abs=1e-4)


@pytest.mark.parametrize("family", FAMILIES.values(), ids=FAMILIES)
def test_concave_without_truncation(family):
    kind, *rest = rows(seed=3)
    for seed in range(20):
        theta = np.random.default_rng(seed).normal([0, 0, 0, 1.5], [1, 1, 1, 0.2])
        hessian = sums(family, theta, (kind % TRUNCATED, *rest))[2]
        assert np.linalg.eigvalsh(hessian).max() < 0


@pytest.mark.parametrize("family", FAMILIES.values(), ids=FAMILIES)
def test_row_terms_add_up_to_the_sums(family):
    data = kind, entry, lower, upper, weight, design = rows(seed=4)
    x = np.c_[np.ones(len(kind)), (design - [2.0, -1.0]) / [1.5, 0.5]]
    terms = row_terms(family, kind, entry, lower, upper, x @ np.array(THETA[:3]), THETA[3])
    value, gradient, hessian = sums(family, THETA, data)
    weighted = terms * weight

    assert weighted[0].sum() == pytest.approx(value, rel=1e-12)
    assert np.r_[-x.T @ weighted[1], weighted[2].sum()] == pytest.approx(gradient, rel=1e-10)
    assert hessian[:3, :3] == pytest.approx(x.T @ (x * weighted[3][:, None]), rel=1e-10)
    assert hessian[:3, 3] == pytest.approx(-x.T @ weighted[4], rel=1e-10)
    assert hessian[3, 3] == pytest.approx(weighted[5].sum(), rel=1e-10)


def test_normal_hazard_in_both_far_tails():
    # Independent route: scipy's log_ndtr; hazard as density over survival, in logs.
    for z in [-38.0, -20.0, -8.0, -1.0, -1e-9, 0.0, 0.5, 4.999, 5.0, 8.0, 20.0, 38.0, 1e5]:
        total, rate, slope = standard_hazard(1, z)
        log_rate = -0.5 * z * z - 0.5 * np.log(2 * np.pi) - log_ndtr(-z)
        assert total == pytest.approx(-log_ndtr(-z), rel=1e-13, abs=1e-300)
        assert rate == pytest.approx(np.exp(log_rate), rel=3e-6 if z > 1e3 else 1e-12)
        assert 0 <= slope <= 1 + 1e-9


def test_logistic_hazard():
    for z in (-700.0, -3.0, 0.0, 3.0, 700.0):
        total, rate, slope = standard_hazard(2, z)
        assert total == pytest.approx(-np.log(expit(-z)) if z < 600 else z, rel=1e-12)
        assert rate == pytest.approx(expit(z))
        assert slope == pytest.approx(expit(z) * expit(-z))


@pytest.mark.parametrize("family", FAMILIES.values(), ids=FAMILIES)
def test_no_row_gives_nan_far_from_the_data(family):
    one = np.array([0.5])
    for kind in KINDS:
        for linear in (-2000.0, -60.0, 60.0, 2000.0):
            terms = row_terms(
                family, np.array([kind], dtype=np.uint8), -one, one, 2 * one, linear * one, 1.0
            )
            if np.isfinite(terms[0, 0]):
                assert np.isfinite(terms).all(), (kind, linear)


def test_spans_hold_their_digits_far_from_zero():
    design = 1e12 + np.array([[1.0, 0.0], [2.0, 4.0], [3.0, 8.0]])

    assert (column_spans(design) - 1e12).tolist() == [[2.0, 4.0], [1.0, 0.0], [3.0, 8.0]]
    assert not np.isfinite(column_spans(np.array([[np.nan], [1.0]]))[0, 0])
