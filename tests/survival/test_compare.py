import numpy as np
import pytest
from scipy.stats import weibull_min

from analytics.errors import NotEstimable
from analytics.survival.compare import TWO_HAZARDS, compare_models, fit_regression, log_scores
from analytics.survival.law import Family, LifeLaw
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import two_hazard_data


def fleet(n, seed, *, early=True):
    """Defects open an early way to fail, or (early=False) divide a Weibull life by two."""
    rng = np.random.default_rng(seed)
    defect = (rng.random((n, 1)) < 0.3).astype(float)
    wear = 6 * rng.weibull(3.0, n)
    if early:
        rate = np.where(defect[:, 0] == 1, 0.35, 0.03)
        life = np.minimum(wear, (rng.exponential(size=n) / rate) ** 2)
    else:
        life = wear / (1 + defect[:, 0])
    stop = rng.uniform(2, 6, n)
    return two_hazard_data(
        lifetimes(np.minimum(life, stop), np.where(life <= stop, life, np.inf)),
        defects=defect,
        defect_names=["seat"],
    )


def test_the_model_that_made_the_lives_is_chosen():
    early, late = compare_models(fleet(400, 1)), compare_models(fleet(400, 2, early=False))

    assert early.best == TWO_HAZARDS
    assert late.best == "weibull regression"
    assert early.why.startswith("two hazards foretold unseen lives best: log score")


def test_scores_are_ordered_and_led_by_the_best():
    found = compare_models(fleet(300, 3))

    lags = [score.behind for score in found.scores]
    assert lags[0] == 0
    assert lags == sorted(lags)
    assert found.scores[0].model == found.best
    assert {score.model for score in found.scores} == {
        TWO_HAZARDS,
        "weibull regression",
        "lognormal regression",
        "loglogistic regression",
    }


def test_the_same_seed_gives_the_same_scores():
    data = fleet(200, 4)

    assert compare_models(data, seed=5) == compare_models(data, seed=5)


def test_log_score_is_the_log_density_or_probability_of_what_was_seen():
    # Independent route: scipy's Weibull distribution, one draw, one row per kind.
    one = np.ones((1, 1))
    law = LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(6) * one,
        wear_sigma=one / 3,
        install_log_rate=-np.inf * one,
        install_shape=one,
    )
    rows = lifetimes([2.0, 3.0, 0.0, 4.0, 5.0], [2.0, np.inf, 1.5, 4.5, 5.0], entry=[0, 1, 0, 0, 2])
    true = weibull_min(3, scale=6)
    expected = [
        true.logpdf(2.0),
        np.log(true.sf(3.0) / true.sf(1.0)),
        np.log(true.cdf(1.5)),
        np.log(true.cdf(4.5) - true.cdf(4.0)),
        true.logpdf(5.0) - np.log(true.sf(2.0)),
    ]

    np.testing.assert_allclose(log_scores(law, rows), expected, rtol=1e-10)


def test_log_score_averages_likelihoods_not_their_logs():
    two = np.array([[1.0], [2.0]])
    law = LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(6 * two),
        wear_sigma=np.full((2, 1), 1 / 3),
        install_log_rate=np.full((2, 1), -np.inf),
        install_shape=np.ones((2, 1)),
    )
    expected = np.log(np.mean([weibull_min(3, scale=6).pdf(4), weibull_min(3, scale=12).pdf(4)]))

    assert log_scores(law, lifetimes([4.0]))[0] == pytest.approx(expected, rel=1e-10)


def test_a_defect_that_always_kills_does_not_stop_the_comparison():
    data = fleet(200, 6)
    lives = data.lifetimes
    killer = (lives.ended & (lives.lower < np.median(lives.lower))).astype(float)
    both = two_hazard_data(
        lives, defects=np.column_stack([data.defects, killer]), defect_names=["seat", "killer"]
    )

    assert all(not score.note for score in compare_models(both).scores)


def test_a_column_that_never_varies_is_left_out_of_the_regression():
    data = fleet(200, 7)
    constant = two_hazard_data(
        data.lifetimes,
        defects=np.column_stack([np.zeros(len(data.lifetimes)), data.defects]),
        defect_names=["never", "seat"],
    )

    assert fit_regression(constant, Family.WEIBULL)[1].tolist() == [1]


def test_few_failures_leave_the_regression_alone_and_say_why():
    data = fleet(40, 8)
    lives = data.lifetimes
    four = np.flatnonzero(lives.ended)[4:]
    upper = lives.upper.copy()
    upper[four] = np.inf
    few = two_hazard_data(
        lifetimes(lives.lower, upper), defects=data.defects, defect_names=["seat"]
    )
    found = compare_models(few)

    (refused,) = [score for score in found.scores if score.model == TWO_HAZARDS]
    assert "at least 5 failures" in refused.note
    assert found.best != TWO_HAZARDS


def test_no_failure_at_all_is_refused():
    none = two_hazard_data(lifetimes([1.0, 2.0, 3.0], [np.inf] * 3))
    with pytest.raises(NotEstimable, match="no life model can be scored"):
        compare_models(none)
