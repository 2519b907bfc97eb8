import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_t

from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import (
    fit_two_hazard,
    parameter_draws,
    share_owed,
    two_hazard_data,
)
from analytics.survival.two_hazard_draws import _in_data_units
from analytics.survival.two_hazard_modes import find_modes
from analytics.survival.two_hazard_posterior import log_posterior
from analytics.survival.two_hazard_prior import VERSIONS

NAMES = ("seat", "gap", "torque")


def fleet(n, seed, *, wearing=0.0, first=0.0, effect=1.5):
    """Three defects that open an early way to fail, wear, or count but once."""
    rng = np.random.default_rng(seed)
    defects = (rng.random((n, 3)) < 0.25).astype(float)
    ratio = effect * defects.sum(axis=1) + first * defects.any(axis=1)
    early = (rng.exponential(size=n) / (0.04 * np.exp(ratio))) ** 2
    wear = 6 * rng.weibull(3.0, n) * np.exp(-wearing * defects.sum(axis=1) / 3)
    life, stop = np.minimum(early, wear), rng.uniform(1, 6, n)
    return two_hazard_data(
        lifetimes(np.minimum(life, stop), np.where(life <= stop, life, np.inf)),
        defects=defects,
        defect_names=NAMES,
    )


def test_versions_add_up_and_the_plain_one_leads_where_it_is_true():
    fit = fit_two_hazard(fleet(800, 1))

    assert sum(mode.probability for mode in fit.modes) == pytest.approx(1.0)
    assert fit.modes[0].version is VERSIONS[0]
    assert fit.hastens_wear < 0.5
    assert fit.first_counts_most < 0.5


def test_defects_that_wear_are_noticed():
    fit = fit_two_hazard(fleet(800, 2, wearing=1.2, effect=0.0))

    assert fit.hastens_wear > 0.99
    effect = fit.estimates.wear_defect_effects["gap"]
    assert effect.low < 1.2 < effect.high
    assert any("hasten wear as well" in said for said in fit.warnings)


def test_ratios_that_do_not_multiply_are_noticed():
    fit = fit_two_hazard(fleet(3000, 3, first=2.5, effect=0.0))

    assert fit.first_counts_most > 0.9
    assert fit.estimates.first_defect_effect.estimate > 1
    assert any("do not multiply" in said for said in fit.warnings)


@pytest.mark.parametrize(("columns", "versions"), [(0, 1), (1, 2), (2, 4)])
def test_only_versions_that_can_be_told_apart_are_tried(columns, versions):
    data = fleet(300, 4)
    few = two_hazard_data(
        data.lifetimes, defects=data.defects[:, :columns], defect_names=NAMES[:columns]
    )

    assert len(find_modes(few)) == versions


def reweighted(mode, n_draws, seed):
    """Draws from a t around the mode, and their log weights under the exact posterior."""
    proposal = multivariate_t(mode.vector, mode.covariance, df=8, seed=seed)
    vectors = proposal.rvs(n_draws)
    exact = np.array([log_posterior(mode.problem, vector)[1] for vector in vectors])
    return vectors, exact - proposal.logpdf(vectors)


def test_evidence_agrees_with_the_integral_by_importance_sampling():
    # Independent route for the versions' probabilities: importance sampling of the integral
    # of prior times likelihood; 4,000 draws leave an error below 0.1 in the log here.
    modes = find_modes(fleet(400, 5))
    odds = {}
    for mode in modes:
        _, log_weight = reweighted(mode, 4000, seed=6)
        prior = 0.5 * np.linalg.slogdet(mode.problem.prior_precision)[1]
        prior -= 0.5 * mode.vector.size * np.log(2 * np.pi)
        evidence = logsumexp(log_weight) - np.log(4000) + prior
        odds[mode.version] = evidence + np.log(mode.version.probability)
    total = logsumexp(list(odds.values()))

    for mode in modes:
        assert mode.probability == pytest.approx(np.exp(odds[mode.version] - total), abs=0.05)


def test_shares_from_the_gaussian_agree_with_the_exact_posterior():
    # The share under importance-reweighted draws; limits within a quarter of their width.
    data = fleet(400, 7)
    plain = next(m for m in find_modes(data) if m.version is VERSIONS[0])
    vectors, log_weight = reweighted(plain, 6000, seed=8)
    weight = np.exp(log_weight - logsumexp(log_weight))
    picked = np.random.default_rng(9).choice(6000, 3000, p=weight)
    exact = share_owed(_in_data_units(plain.problem, vectors[picked]), data).total_share
    noise = np.random.default_rng(10).standard_normal((3000, plain.vector.size))
    gaussian = plain.vector + noise @ np.linalg.cholesky(plain.covariance).T
    laplace = share_owed(_in_data_units(plain.problem, gaussian), data).total_share

    width = exact.high - exact.low
    assert 1 / (weight**2).sum() > 500
    assert laplace.estimate == pytest.approx(exact.estimate, abs=0.15 * width)
    assert laplace.low == pytest.approx(exact.low, abs=0.25 * width)
    assert laplace.high == pytest.approx(exact.high, abs=0.25 * width)


def test_draws_come_from_each_version_as_often_as_it_is_probable():
    fit = fit_two_hazard(fleet(300, 11))
    draws = parameter_draws(fit, 5000, seed=1)

    with_first = np.mean(draws.first_defect_effect != 0)
    assert with_first == pytest.approx(fit.first_counts_most, abs=1e-3)
    again = parameter_draws(fit, 5000, seed=1)
    np.testing.assert_array_equal(draws.wear_sigma, again.wear_sigma)
