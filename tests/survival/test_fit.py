import time

import numpy as np
import pandas as pd
import pytest
from lifelines import WeibullAFTFitter

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import draw_parameters, fit, life_law
from analytics.survival.law import Family, survival
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.limits import limits
from analytics.survival.prior import Prior
from analytics.survival.quantities import life_quantile, parameters

INF = np.inf
FAMILIES = list(Family)


def fleet(n=200, *, seed=1, family=Family.WEIBULL, unit=1.0) -> tuple[Lifetimes, np.ndarray]:
    """Lives of every kind of row with two covariates; location 2, effects -1 and 0.5."""
    random = np.random.default_rng(seed)
    x = np.c_[random.uniform(-0.5, 0.5, n), random.integers(0, 2, n)]
    noise = {
        Family.LOGNORMAL: random.standard_normal,
        Family.LOGLOGISTIC: random.logistic,
    }.get(family, lambda size: np.log(random.exponential(size=size)))(size=n)
    life = np.exp(2 + x @ [-1.0, 0.5] + 0.5 * noise)
    end = random.uniform(1, 12, n)
    upper = np.where(life <= end, life, INF)
    lower = np.minimum(life, end)
    looked = np.isfinite(upper) & (random.random(n) < 0.4)
    lower = np.where(looked, np.floor(lower), lower)
    upper = np.where(looked, np.floor(upper) + 1, upper)
    entry = np.where((random.random(n) < 0.3) & (lower > 1), 0.5, 0.0)
    return lifetimes(unit * lower, unit * upper, entry=unit * entry), x


NAMES = ("ratio", "defect")


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.value)
@pytest.mark.parametrize("unit", [1e-9, 1e-3, 1e6, 1e12])
def test_the_unit_of_time_does_not_matter(family, unit):
    # Limiting case: a change of unit moves the intercept by its log and nothing else.
    data, x = fleet()
    plain = fit(data, family, x, NAMES)
    scaled = fit(fleet(unit=unit)[0], family, x, NAMES)
    shift = np.log(unit) * np.r_[1.0, 0.0, 0.0]

    assert scaled.coefficients - shift == pytest.approx(plain.coefficients, rel=1e-6)
    assert scaled.sigma == pytest.approx(plain.sigma, rel=1e-6)
    assert scaled.covariance == pytest.approx(plain.covariance, rel=1e-5, abs=1e-10)
    exact = float(data.weight @ data.exact)
    moved = scaled.log_likelihood + exact * np.log(unit)
    assert moved == pytest.approx(plain.log_likelihood, rel=1e-8)
    row = [0.1, 1.0]
    now, then = (limits(one, life_quantile(one, 0.1, row)) for one in (scaled, plain))
    assert np.array(now.likelihood_ratio) / unit == pytest.approx(then.likelihood_ratio, rel=1e-6)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.value)
def test_the_scale_and_origin_of_a_covariate_do_not_matter(family):
    data, x = fleet()
    plain = fit(data, family, x, NAMES)
    moved = fit(data, family, x * [1e-9, 1e9] + [3e-3, 1e12], NAMES)

    assert moved.coefficients[1:] * [1e-9, 1e9] == pytest.approx(plain.coefficients[1:], rel=1e-6)
    assert moved.log_likelihood == pytest.approx(plain.log_likelihood, rel=1e-9)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.value)
def test_a_weight_is_as_good_as_repeated_rows(family):
    data, x = fleet()
    times = np.random.default_rng(2).integers(0, 4, len(data))
    weighted = lifetimes(data.lower, data.upper, entry=data.entry, weight=times)
    long = lifetimes(
        *(np.repeat(part, times) for part in (data.lower, data.upper)),
        entry=np.repeat(data.entry, times),
    )
    a, b = fit(weighted, family, x, NAMES), fit(long, family, np.repeat(x, times, axis=0), NAMES)

    assert a.coefficients == pytest.approx(b.coefficients, rel=1e-9)
    assert a.covariance == pytest.approx(b.covariance, rel=1e-6)
    assert (a.lives, a.failures) == (b.lives, b.failures)


def test_the_truth_is_found_in_many_lives():
    data, x = fleet(100_000, seed=5)
    result = fit(data, Family.WEIBULL, x, NAMES)
    error = np.r_[result.coefficients - [2, -1, 0.5], np.log(result.sigma / 0.5)]

    assert (np.abs(error) < 4 * np.sqrt(np.diag(result.covariance))).all()
    assert result.steps <= 5  # the sample's summit leaves little to climb


def test_agrees_with_an_independent_library():
    # Independent route: lifelines 0.30 on the exact and right-censored rows.
    data, x = fleet(400)
    keep = data.exact | ~data.ended
    entry, lower, upper = (part[keep] for part in (data.entry, data.lower, data.upper))
    ours = fit(lifetimes(lower, upper, entry=entry), Family.WEIBULL, x[keep], NAMES)
    frame = pd.DataFrame(x[keep], columns=NAMES)
    frame = frame.assign(time=lower, failed=np.isfinite(upper), entry=entry)
    theirs = WeibullAFTFitter().fit(frame, "time", "failed", entry_col="entry")

    assert ours.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-8)


def test_law_and_fit_say_the_same():
    data, x = fleet()
    result = fit(data, Family.LOGLOGISTIC, x, NAMES)
    row = [0.2, 1.0]
    age = life_quantile(result, 0.25, row)
    law = life_law(result, [row])

    assert survival(law, age.back(age.working))[0, 0] == pytest.approx(0.75, rel=1e-9)


def test_draws_have_the_fits_mean_and_covariance():
    data, x = fleet()
    result = fit(data, Family.WEIBULL, x, NAMES)
    draws = draw_parameters(result, 200_000, np.random.default_rng(3))
    law = life_law(result, x[:7], draws[:100])

    best = np.r_[result.coefficients, np.log(result.sigma)]
    se = np.sqrt(np.diag(result.covariance))
    assert (np.abs(draws.mean(axis=0) - best) < 5 * se / np.sqrt(200_000)).all()
    assert np.cov(draws.T) == pytest.approx(result.covariance, rel=0.05, abs=1e-4)
    assert law.wear_location.shape == (100, 7)
    assert law.wear_sigma.shape == (100, 1)


def test_a_narrow_interval_is_an_exact_age():
    # Limiting case: the interval's chance is its width times the density.
    failed = np.array([1.0, 2.0, 3.0, 5.0])
    exact = fit(lifetimes(failed), Family.WEIBULL)
    for width in (1e-5, 1e-9):
        narrow = fit(lifetimes(failed, failed * (1 + width)), Family.WEIBULL)
        assert narrow.sigma == pytest.approx(exact.sigma, rel=2 * width + 1e-8)
        value = exact.log_likelihood + np.log(width * failed).sum()
        assert narrow.log_likelihood == pytest.approx(value, abs=20 * width + 1e-6)


def test_exponential_is_failures_over_time():
    data = lifetimes([3.0, 4.0, 9.0], [3.0, 4.0, INF], entry=[0.0, 1.0, 2.0])
    result = fit(data, Family.EXPONENTIAL)

    assert np.exp(result.coefficients[0]) == pytest.approx(13 / 2)
    assert result.covariance[0, 0] == pytest.approx(1 / 2)
    assert [quantity.name for quantity in parameters(result)] == ["scale"]


def test_assumed_shape_two_is_the_rayleigh_closed_form():
    # Independent route: eta = sqrt(sum t^2 / r) for a Weibull of shape 2.
    data = lifetimes([3.0, 4.0, 9.0], [3.0, 4.0, INF])
    result = fit(data, Family.WEIBULL, shape=2.0)

    assert np.exp(result.coefficients[0]) == pytest.approx(np.sqrt((9 + 16 + 81) / 2))


def test_a_tight_prior_is_an_assumed_shape_and_a_vague_one_is_none():
    # Limiting cases of the prior.
    data, _ = fleet(60)
    tight = fit(data, Family.WEIBULL, prior=Prior(shape_median=2.0, shape_factor=1 + 1e-7))
    assumed = fit(data, Family.WEIBULL, shape=2.0)
    vague = fit(data, Family.WEIBULL, prior=Prior(shape_factor=1e30))
    free = fit(data, Family.WEIBULL)

    assert tight.coefficients == pytest.approx(assumed.coefficients, rel=1e-6)
    assert tight.sigma == pytest.approx(0.5, rel=1e-6)
    assert vague.sigma == pytest.approx(free.sigma, rel=1e-3)
    assert "prior" in vague.warnings[-1]


def test_a_prior_on_effects_mends_separation():
    data = lifetimes([1.0, 2.0, 3.0, 4.0, 9.0, 9.0], [1.0, 2.0, 3.0, 4.0, INF, INF])
    x = np.array([[0.0], [0.0], [0.0], [0.0], [1.0], [1.0]])
    with pytest.raises(NotEstimable, match="failures on both sides.*defect"):
        fit(data, Family.WEIBULL, x, ("defect",))
    result = fit(data, Family.WEIBULL, x, ("defect",), prior=Prior(effect_sd=2.0))

    assert 0 < result.coefficients[1] < 5


def test_few_failures_are_flagged():
    some = lifetimes(np.arange(1.0, 31), np.where(np.arange(30) % 5 == 0, np.arange(1.0, 31), INF))
    assert "only 6 failures, fewer than 10" in fit(some, Family.WEIBULL).warnings[0]
    one = lifetimes([3.0, 5.0, 8.0], [3.0, INF, INF])
    assert "only 1 failure:" in fit(one, Family.WEIBULL).warnings[0]
    x = np.random.default_rng(1).normal(size=(30, 2))
    assert any(
        "6 failures for 2 covariates" in w for w in fit(some, Family.WEIBULL, x, NAMES).warnings
    )


# Forty nasty cases: each ends in a typed refusal, or in a result that says what is wrong.
T = np.array([1.0, 2.0, 3.0, 5.0, 8.0, 13.0])
X = np.array([[0.1], [0.9], [0.4], [0.7], [0.2], [0.5]])
NO = np.full(6, INF)
REFUSED = {
    "no rows": (([], []), InputError, "at least one row"),
    "no failures": ((T, NO), NotEstimable, "at least one life must have ended"),
    "one row, failed": (([3.0], [3.0]), NotEstimable, "must differ in age"),
    "one row, kept": (([3.0], [INF]), NotEstimable, "must have ended"),
    "one interval row": (([3.0], [4.0]), NotEstimable, "one point|must differ|without end"),
    "one left-censored row": (([0.0], [4.0]), NotEstimable, "one point|both sides|must differ"),
    "all equal": (([3.0] * 6, [3.0] * 6), NotEstimable, "must differ in age"),
    "equal failures, none kept longer": (
        ([3.0] * 6, [3.0] * 3 + [INF] * 3),
        NotEstimable,
        "must differ in age",
    ),
    "only failure comes last": (
        ([1.0, 2.0, 3.0], [INF, INF, 3.0]),
        NotEstimable,
        "must differ in age",
    ),
    "equal apart from rounding": (([3.0, 3.0 + 4e-16], [3.0, 3.0 + 4e-16]), NotEstimable, "differ"),
    "all ended by the first look": (([0.0] * 6, T), NotEstimable, "one point|must differ|spread"),
    "a single inspection": (
        ([0.0] * 3 + [5.0] * 3, [5.0] * 3 + [INF] * 3),
        NotEstimable,
        "one point",
    ),
    "failed by a, kept to b": (([0.0, 9.0], [3.0, INF]), NotEstimable, "without end"),
    "zero time": (([0.0, 2.0], [0.0, 2.0]), InputError, "upper must be > 0"),
    "negative time": (([-1.0, 2.0], [-1.0, 2.0]), InputError, "lower must be finite"),
    "nan": (([np.nan, 2.0], [1.0, 2.0]), InputError, "lower must be finite"),
    "infinite lower": (([INF, 2.0], [INF, 2.0]), InputError, "lower must be finite"),
    "upper below lower": (([3.0, 2.0], [1.0, 2.0]), InputError, "upper must be >= lower"),
    "entry after exit": (
        ([3.0, 2.0], [3.0, 2.0], [4.0, 0.0]),
        InputError,
        "lower must be >= entry",
    ),
    "entry at failure": (([3.0, 2.0], [3.0, 2.0], [3.0, 0.0]), InputError, "upper must be > entry"),
    "negative weight": ((T, T, 0.0, -1.0), InputError, "weight must be"),
    "all weights zero": ((T, T, 0.0, 0.0), InputError, "at least one weight"),
    "failures of weight zero": (
        (T, np.r_[T[:1], NO[1:]], 0.0, np.r_[0.0, np.ones(5)]),
        NotEstimable,
        "must have ended",
    ),
    "constant covariate": ((T, T, 0.0, 1.0, X * 0 + 7), NotEstimable, "must vary"),
    "same covariate twice": ((T, T, 0.0, 1.0, np.c_[X, X]), NotEstimable, "must not repeat"),
    "covariates that add up": (
        (T, T, 0.0, 1.0, np.c_[X, 1 - 2 * X + 1e-9 * X]),
        NotEstimable,
        "must not repeat",
    ),
    "two columns of one covariate apart from weight-zero rows": (
        (T, T, 0.0, np.r_[0.0, np.ones(5)], np.c_[X, np.r_[9.0, X[1:, 0]]]),
        NotEstimable,
        "must not repeat",
    ),
    "covariate nan": ((T, T, 0.0, 1.0, np.r_[X[:5], [[np.nan]]]), InputError, "must be finite"),
    "covariate inf": ((T, T, 0.0, 1.0, np.r_[X[:5], [[INF]]]), InputError, "must be finite"),
    "covariate of another length": ((T, T, 0.0, 1.0, X[:5]), InputError, "must have shape"),
    "separated: no failures on one side": (
        (T, np.r_[T[:4], NO[4:]], 0.0, 1.0, np.r_[np.zeros(4), np.ones(2)][:, None]),
        NotEstimable,
        "failures on both sides",
    ),
    "separated by a threshold of two covariates": (
        (
            np.r_[T, T],
            np.r_[T, NO],
            0.0,
            1.0,
            np.c_[np.r_[X[:, 0], X[:, 0]], np.r_[X[:, 0] * 0, np.ones(6)]],
        ),
        NotEstimable,
        "failures on both sides",
    ),
    "age is a line in the covariate": (
        (T, T, 0.0, 1.0, np.log(T)[:, None]),
        NotEstimable,
        "must differ in age",
    ),
    "as many covariates as failures": (
        (T, T, 0.0, 1.0, np.random.default_rng(1).normal(size=(6, 6))),
        NotEstimable,
        "must differ in age|must not repeat",
    ),
    "more covariates than rows": (
        (T, T, 0.0, 1.0, np.random.default_rng(1).normal(size=(6, 9))),
        NotEstimable,
        "must differ in age|must not repeat",
    ),
}
FLAGGED = {
    "two failures": (([1.0, 2.0], [1.0, 2.0]), "only 2 failures"),
    "one failure among kept": (([1.0, 2.0, 3.0], [1.0, INF, INF]), "only 1 failure"),
    "every row twice": ((np.r_[T[:4], T[:4]], np.r_[T[:4], T[:4]]), "only 8 failures"),
    "a spread of thirty decades": (
        ([1e-18, 1e-6, 1.0, 1e6, 1e12], [1e-18, 1e-6, 1.0, 1e6, 1e12]),
        "only 5 failures",
    ),
    "nearly no spread": (
        (1e6 + np.arange(6.0) * 1e-3, 1e6 + np.arange(6.0) * 1e-3),
        "only 6 failures",
    ),
    "one kept a million times longer": (
        (np.r_[T, 1e7], np.r_[T, INF]),
        "only 6 failures",
    ),
    "few failures for the covariates": (
        (np.r_[T, T], np.r_[T, NO], 0.0, 1.0, np.random.default_rng(4).normal(size=(12, 2))),
        "6 failures for 2 covariates",
    ),
    "covariates that nearly repeat": (
        (T, T, 0.0, 1.0, np.c_[X, X + 1e-4 * np.random.default_rng(3).normal(size=(6, 1))]),
        "hardly told apart, their effects only add up: x0, x1",
    ),
    "huge covariate": ((T, T, 0.0, 1.0, 1e15 + 1e12 * X), "6 failures, fewer"),
    "tiny weights": ((T, T, 0.0, 1e-3), "failures"),
}


def fit_case(case, family):
    def unpack(lower, upper, entry=0.0, weight=1.0, x=None):
        return lower, upper, entry, weight, x

    lower, upper, entry, weight, x = unpack(*case)
    names = () if x is None else tuple(f"x{j}" for j in range(x.shape[1]))
    return fit(lifetimes(lower, upper, entry=entry, weight=weight), family, x, names)


@pytest.mark.parametrize("family", FAMILIES[:3], ids=lambda f: f.value)
@pytest.mark.parametrize(("case", "error", "message"), REFUSED.values(), ids=REFUSED)
def test_nasty_case_is_refused(case, error, message, family):
    with pytest.raises(error, match=message):
        fit_case(case, family)


@pytest.mark.parametrize("family", FAMILIES, ids=lambda f: f.value)
@pytest.mark.parametrize(("case", "message"), FLAGGED.values(), ids=FLAGGED)
def test_nasty_case_is_flagged(case, message, family):
    result = fit_case(case, family)

    assert any(message in warning for warning in result.warnings)
    assert np.isfinite(np.r_[result.coefficients, result.sigma, result.log_likelihood]).all()
    assert np.isfinite(result.covariance).all()
    for quantity in parameters(result):
        low, high = limits(result, quantity).wald
        assert low <= quantity.back(quantity.working) <= high


def test_a_million_rows():
    data, x = fleet(1_000_000)
    fit(fleet()[0], Family.WEIBULL, fleet()[1], NAMES)  # compile
    begun = time.perf_counter()
    result = fit(data, Family.WEIBULL, x, NAMES)

    assert time.perf_counter() - begun < 10  # a sanity bound; the ratio is a benchmark's
    assert result.coefficients == pytest.approx([2, -1, 0.5], abs=0.02)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"shape": 0.0}, "assumed shape must be > 0"),
        ({"shape": np.nan}, "assumed shape must be > 0"),
        ({"design": X, "names": ()}, r"shape \(6, 0\).*got \(6, 1\)"),
        ({"design": np.c_[X, X**2], "names": ("a", "a")}, "names must differ"),
    ],
)
def test_bad_arguments_are_refused(arguments, message):
    with pytest.raises(InputError, match=message):
        fit(lifetimes(T), Family.WEIBULL, **arguments)


def test_a_law_of_the_wrong_shape_is_refused():
    result = fit(lifetimes(T), Family.WEIBULL)
    with pytest.raises(InputError, match=r"units need shape \(n_units, 0\)"):
        life_law(result, [[1.0]])
    with pytest.raises(InputError, match=r"draws need shape \(n_draws, 2\)"):
        life_law(result, draws=np.zeros((3, 5)))
    with pytest.raises(InputError, match="prior needs"):
        Prior(shape_factor=1.0)
