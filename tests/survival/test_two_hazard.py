from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from analytics.errors import InputError, NotEstimable
from analytics.survival.law import cumulative_hazard, hazard
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import (
    fit_two_hazard,
    life_law,
    parameter_draws,
    two_hazard_data,
)
from analytics.survival.two_hazard_posterior import log_posterior, posterior, slopes
from analytics.survival.two_hazard_prior import VERSIONS

TRUE = {"a": np.log(0.04), "b": np.array([1.6, 1.1]), "k": 0.5, "m": np.log(9.0), "s": 1 / 3}
EXPONENT = -6.0


def fleet(n=1000, seed=3, *, effects=TRUE["b"], time_unit=1.0):
    """Lives of a known two-hazard law, with every kind of row."""
    rng = np.random.default_rng(seed)
    defects = (rng.random((n, 2)) < [0.25, 0.15]).astype(float)
    duty = rng.normal(0, 0.15, (n, 1))
    log_rate = TRUE["a"] + defects @ effects
    location = TRUE["m"] + EXPONENT * duty[:, 0]
    needed = rng.exponential(size=n)
    low, high = np.full(n, -40.0), np.full(n, 8.0)
    for _ in range(90):
        middle = (low + high) / 2
        reached = np.exp(log_rate + TRUE["k"] * middle) + np.exp((middle - location) / TRUE["s"])
        low, high = (
            np.where(reached < needed, middle, low),
            np.where(reached < needed, high, middle),
        )
    life, stop = np.exp(low), rng.uniform(2, 6, n)
    lower, upper = np.minimum(life, stop), np.where(life <= stop, life, np.inf)
    looked = (rng.random(n) < 0.2) & np.isfinite(upper)
    lower[looked] = np.floor(lower[looked] * 2) / 2
    upper[looked] = lower[looked] + 0.5
    entry = np.where(rng.random(n) < 0.2, rng.uniform(0, 1, n), 0.0)
    seen = lower > entry
    seen |= (lower == 0) & (entry == 0)
    return two_hazard_data(
        lifetimes(lower[seen] * time_unit, upper[seen] * time_unit, entry=entry[seen] * time_unit),
        defects=defects[seen],
        defect_names=["seat", "gap"],
        wear_design=duty[seen],
        wear_names=["log_ratio"],
    )


def test_likelihood_equals_the_integral_of_its_own_hazard():
    # Independent route: S from numerical integration of the hazards of `law`, one row per kind.
    kinds = lifetimes(
        [3.0, 2.0, 0.0, 1.0, 4.0], [3.0, np.inf, 1.5, 2.5, 4.0], entry=[0, 1, 0, 0, 2]
    )
    data = two_hazard_data(
        kinds,
        defects=[[1.0], [0.0], [0.3], [1.0], [0.0]],
        defect_names=["seat"],
        wear_design=[[0.1], [0.0], [-0.2], [0.3], [0.0]],
        wear_names=["log_ratio"],
    )
    problem = posterior(data)
    vector = problem.prior_mean + np.array([0.3, 0.5, -0.4, -0.2, 0.4, 0.1])
    from analytics.survival.two_hazard_draws import _in_data_units

    draws = _in_data_units(problem, vector[None, :])

    def total(i, start, end):
        law = life_law(draws, defects=data.defects[[i]], wear_design=data.wear_design[[i]])
        # over log age, where the falling hazard has no pole
        low = np.log(max(start, 1e-40))
        return quad(
            lambda x: np.exp(x) * sum(hazard(law, np.exp(x))).item(),
            low,
            np.log(end),
            limit=400,
            epsabs=1e-12,
            points=[np.log(end) - 5] if low < -50 else None,
        )[0]

    def log_hazard(i, age):
        law = life_law(draws, defects=data.defects[[i]], wear_design=data.wear_design[[i]])
        return np.log(sum(hazard(law, age))).item()

    expected = (
        (log_hazard(0, 3.0) - total(0, 0, 3.0))
        - total(1, 1.0, 2.0)
        + np.log(1 - np.exp(-total(2, 0, 1.5)))
        + np.log(np.exp(-total(3, 0, 1.0)) - np.exp(-total(3, 0, 2.5)))
        + (log_hazard(4, 4.0) - total(4, 2.0, 4.0))
    )

    assert log_posterior(problem, vector)[0] == pytest.approx(expected, rel=1e-7)


@pytest.mark.parametrize("version", VERSIONS)
def test_slopes_equal_differences_of_the_likelihood(version):
    data = fleet(300)
    unsure = data.defects.copy()
    unsure[::3, 0], unsure[::4, 1] = 0.2, 0.1
    problem = posterior(replace(data, defects=unsure), version)
    vector = problem.prior_mean + 0.3
    gradient, hessian = slopes(problem, vector)
    h = 1e-5
    steps = h * np.eye(vector.size)

    by_value = [
        (log_posterior(problem, vector + e)[0] - log_posterior(problem, vector - e)[0]) / (2 * h)
        for e in steps
    ]
    by_slope = [
        (slopes(problem, vector + e)[0] - slopes(problem, vector - e)[0]) / (2 * h) for e in steps
    ]

    np.testing.assert_allclose(gradient, by_value, rtol=1e-6, atol=1e-6 * abs(gradient).max())
    np.testing.assert_allclose(hessian, by_slope, rtol=1e-6, atol=1e-6 * abs(hessian).max())


def test_known_parameters_are_recovered_within_their_limits():
    # One seed; how often the limits hold is counted in tests/studies/test_share_recovery.py.
    found = fit_two_hazard(fleet(3000, seed=11)).estimates

    for estimate, truth in (
        (found.install_shape, TRUE["k"]),
        (found.wear_shape, 1 / TRUE["s"]),
        (found.defect_effects["seat"], TRUE["b"][0]),
        (found.defect_effects["gap"], TRUE["b"][1]),
        (found.wear_effects["log_ratio"], EXPONENT),
    ):
        assert estimate.low < truth < estimate.high
        assert estimate.high - estimate.low < 2.5


@pytest.mark.parametrize("unit", [1e-9, 1e12])
def test_unit_of_time_changes_nothing_but_the_unit(unit):
    here, there = fit_two_hazard(fleet(400)), fit_two_hazard(fleet(400, time_unit=unit))

    exact = float(here.data.lifetimes.exact.sum())
    assert there.log_likelihood + exact * np.log(unit) == pytest.approx(
        here.log_likelihood, rel=1e-9
    )
    np.testing.assert_allclose(there.modes[0].vector, here.modes[0].vector, rtol=1e-6, atol=1e-7)
    one = life_law(parameter_draws(here, 50), defects=[[1, 0]], wear_design=[[0.1]])
    two = life_law(parameter_draws(there, 50), defects=[[1, 0]], wear_design=[[0.1]])
    np.testing.assert_allclose(
        cumulative_hazard(two, 3 * unit), cumulative_hazard(one, 3.0), rtol=1e-5
    )


def test_a_weight_of_two_is_the_row_twice():
    data = fleet(300)
    lives = data.lifetimes
    rows = np.repeat(np.arange(len(lives)), 2)
    doubled = fit_two_hazard(
        two_hazard_data(
            lifetimes(lives.lower, lives.upper, entry=lives.entry, weight=2.0),
            defects=data.defects,
            defect_names=data.defect_names,
            wear_design=data.wear_design,
            wear_names=data.wear_names,
        )
    )
    repeated = fit_two_hazard(
        two_hazard_data(
            lifetimes(lives.lower[rows], lives.upper[rows], entry=lives.entry[rows]),
            defects=data.defects[rows],
            defect_names=data.defect_names,
            wear_design=data.wear_design[rows],
            wear_names=data.wear_names,
        )
    )

    np.testing.assert_allclose(
        doubled.modes[0].vector, repeated.modes[0].vector, rtol=1e-6, atol=1e-7
    )
    np.testing.assert_allclose(
        doubled.modes[0].covariance, repeated.modes[0].covariance, rtol=1e-5, atol=1e-9
    )


def test_draws_keep_each_shape_on_its_side_of_one():
    draws = parameter_draws(fit_two_hazard(fleet(150)), 4000, seed=1)

    assert (draws.install_shape > 0).all()
    assert (draws.install_shape <= 1).all()
    assert (draws.wear_sigma <= 1).all()
    assert (draws.wear_sigma > 0).all()


def test_a_defect_never_seen_gets_its_prior_and_a_word():
    data = fleet(400)
    unseen = two_hazard_data(
        data.lifetimes,
        defects=np.column_stack([data.defects, np.zeros(len(data.lifetimes))]),
        defect_names=["seat", "gap", "studs"],
        wear_design=data.wear_design,
        wear_names=["log_ratio"],
    )
    fit = fit_two_hazard(unseen)

    assert any("studs was never seen" in said for said in fit.warnings)
    width = fit.estimates.defect_effects["studs"]
    # own spread 0.7 and what is left unknown of the common level: no narrower than 0.7
    assert (width.high - width.low) / (2 * 1.96) >= 0.7
    without = fit_two_hazard(data)
    assert fit.log_likelihood == pytest.approx(without.log_likelihood, rel=1e-6)


def test_too_few_failures_are_refused():
    few = two_hazard_data(
        lifetimes([1.0, 2.0, 3.0], [1.0, 2.0, np.inf]),
        defects=np.zeros((3, 1)),
        defect_names=["seat"],
    )
    with pytest.raises(NotEstimable, match="at least 5 failures, got 2"):
        fit_two_hazard(few)


def test_ages_alone_need_more_failures():
    blind = two_hazard_data(lifetimes(np.arange(1.0, 13.0)))
    with pytest.raises(NotEstimable, match="without installation records need at least 20"):
        fit_two_hazard(blind)


def test_works_on_ages_alone_when_there_are_enough():
    data = fleet(2000)
    fit = fit_two_hazard(two_hazard_data(data.lifetimes))

    assert fit.estimates.defect_effects == {}
    assert fit.estimates.install_shape.low < TRUE["k"] + 0.1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"defects": [[2.0], [0.0]]},
            r"defects must be probabilities in \[0, 1\].*got 2 for 'seat'",
        ),
        ({"defects": [[1.0]]}, r"shape \(2, 1\); got \(1, 1\)"),
        ({"defects": [[np.nan], [0.0]]}, "must be finite numbers, got nan for 'seat' in row 1"),
    ],
)
def test_unfit_covariates_are_named(change, message):
    with pytest.raises(InputError, match=message):
        two_hazard_data(lifetimes([1.0, 2.0]), defect_names=["seat"], **change)


def test_a_law_needs_the_columns_of_the_fit():
    draws = parameter_draws(fit_two_hazard(fleet(200)), 10)
    with pytest.raises(InputError, match="2, 0 and 1 columns as in the fit"):
        life_law(draws, defects=[[1.0]])


def test_failures_all_at_one_age_are_refused():
    same = two_hazard_data(
        lifetimes(np.full(30, 2.0)), defects=np.eye(30, 1), defect_names=["seat"]
    )
    with pytest.raises(NotEstimable, match="failures at different ages, got all 30 at one age"):
        fit_two_hazard(same)


def test_an_interval_too_narrow_to_tell_is_an_exact_age():
    data = fleet(300)
    lives = data.lifetimes
    wide = replace(lives, upper=np.where(lives.exact, lives.lower * (1 + 1e-12), lives.upper))

    here, there = fit_two_hazard(data), fit_two_hazard(replace(data, lifetimes=wide))
    np.testing.assert_allclose(here.modes[0].vector, there.modes[0].vector, rtol=1e-6)


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda d, w, ended: (np.column_stack([ended, d]), w), id="killer"),
        pytest.param(lambda d, w, ended: (np.column_stack([~ended, d]), w), id="saviour"),
        pytest.param(lambda d, w, ended: (np.column_stack([d[:, 0], d]), w), id="twin"),
        pytest.param(lambda d, w, ended: (np.column_stack([np.full(len(d), 0.3), d]), w), id="p"),
        pytest.param(lambda d, w, ended: (np.column_stack([d[:, 1], d]), 1e12 * w), id="huge"),
        pytest.param(lambda d, w, ended: (np.column_stack([d[:, 1], d]), w + 1e8), id="shifted"),
        pytest.param(lambda d, w, ended: (np.column_stack([d[:, 1], d]), 0 * w), id="constant"),
    ],
)
def test_covariates_that_ruin_a_plain_likelihood_leave_finite_answers(spoil):
    data = fleet(150)
    defects, duty = spoil(data.defects, data.wear_design, data.lifetimes.ended)
    fit = fit_two_hazard(
        replace(
            data,
            defects=defects.astype(float),
            defect_names=("odd", "seat", "gap"),
            wear_design=duty,
        )
    )

    for effect in (*fit.estimates.defect_effects.values(), *fit.estimates.wear_effects.values()):
        assert np.isfinite([effect.low, effect.estimate, effect.high]).all()
        assert effect.low < effect.high
