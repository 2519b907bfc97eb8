import numpy as np
import pytest
from numpy.polynomial.hermite_e import hermegauss
from scipy.optimize import minimize

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import fit
from analytics.survival.joint_posterior import group, summit_given, towards_marginal
from analytics.survival.kernels import row_terms
from analytics.survival.law import Family, survival
from analytics.survival.lifetimes import lifetimes
from analytics.survival.random_intercepts import draw_lives, fit_with_intercepts

INF = np.inf
LEVELS, EACH = 12, 8


def balanced(spread=0.6, seed=1):
    random = np.random.default_rng(seed)
    crew = np.repeat(np.arange(LEVELS), EACH)
    log_life = 1 + random.normal(0, spread, LEVELS)[crew] + 0.5 * random.normal(size=len(crew))
    return log_life, crew


def censored_weibull(seed=2, levels=10, each=15):
    random = np.random.default_rng(seed)
    crew = np.repeat(np.arange(levels), each)
    life = np.exp(1 + random.normal(0, 0.4, levels)[crew]) * random.weibull(2.0, len(crew))
    end = random.uniform(0.5, 8, len(crew))
    return lifetimes(np.minimum(life, end), np.where(life < end, life, INF)), crew


def test_complete_lognormal_lives_are_analysis_of_variance():
    # Closed form: one-way analysis of variance. The marginal likelihood with the intercept
    # integrated out is greatest at 1 + m kappa^2 = MSB / MSW (n - G + 1) / (n - G), and
    # sigma^2 = (SSW + SSB / (1 + m kappa^2)) / n.
    y, crew = balanced()
    result = fit_with_intercepts(lifetimes(np.exp(y)), Family.LOGNORMAL, {"crew": crew})
    table = y.reshape(LEVELS, EACH)
    n = len(y)
    within = table.var(axis=1, ddof=1).mean()
    between = EACH * table.mean(axis=1).var(ddof=1)
    ratio = between / within * (n - LEVELS + 1) / (n - LEVELS)
    sigma = np.sqrt((within * (n - LEVELS) + between * (LEVELS - 1) / ratio) / n)
    (crews,) = result.intercepts

    assert crews.sd == pytest.approx(np.sqrt((ratio - 1) / EACH) * sigma, rel=1e-3)
    assert result.sigma == pytest.approx(sigma, rel=1e-4)
    assert crews.sd_low < crews.sd < crews.sd_high
    # Best linear unbiased predictions: means shrunken by 1 - 1 / ratio. Labels sort as text.
    order = np.argsort(np.arange(LEVELS).astype(str))
    means = table.mean(axis=1) - y.mean()
    assert crews.effects == pytest.approx(((1 - 1 / ratio) * means)[order], rel=1e-3)
    assert result.coefficients[0] == pytest.approx(y.mean(), rel=1e-9)


def test_laplace_against_quadrature_for_censored_weibull_lives():
    # Independent route: Gauss-Hermite quadrature over each crew's intercept and over gamma_0,
    # at two values of kappa; the difference of the log marginal likelihoods must agree.
    data, crew = censored_weibull()
    plain = fit(data, Family.WEIBULL)
    rows = group(plain.problem, (crew,))
    problem = plain.problem
    nodes, weights = hermegauss(30)

    def exact(kappa, joint):
        rho = joint.theta[-1]
        total = []
        grid = joint.theta[0] + np.linspace(-6, 6, 121) * kappa
        for gamma in grid:
            inside = problem.constant + problem.exact_weight * np.log(rho)
            each = np.array(
                [
                    np.bincount(
                        crew,
                        row_terms(
                            problem.family,
                            problem.kind,
                            problem.entry,
                            problem.lower,
                            problem.upper,
                            np.full(len(crew), gamma + kappa * node),
                            rho,
                        )[0],
                    )
                    for node in nodes
                ]
            )
            inside += np.log(weights / weights.sum() @ np.exp(each)).sum()
            total.append(inside)
        top = max(total)
        return top + np.log(np.exp(np.array(total) - top).sum() * (grid[1] - grid[0]))

    start = np.concatenate([plain.summit.theta[:-1], np.zeros(10), plain.summit.theta[-1:]])
    joints = {kappa: summit_given(rows, np.log([kappa]), start) for kappa in (0.3, 0.9)}
    found = joints[0.9].marginal - joints[0.3].marginal
    wanted = exact(0.9, joints[0.9]) - exact(0.3, joints[0.3])

    assert found == pytest.approx(wanted, abs=0.05)


def test_few_failures_a_level_against_the_exact_marginal_summit():
    # Independent route: the marginal likelihood by quadrature, climbed by scipy's simplex.
    random = np.random.default_rng(4)
    lot = np.repeat(np.arange(120), 3)
    life = np.exp(1 + random.normal(0, 0.4, 120)[lot]) * random.weibull(2.0, len(lot))
    end = random.uniform(0, 4, len(lot))
    data = lifetimes(np.minimum(life, end), np.where(life < end, life, INF))
    plain = fit(data, Family.WEIBULL)
    problem, kappa = plain.problem, 0.8
    nodes, weights = hermegauss(40)

    def loss(theta):
        if theta[1] <= 0:
            return INF
        each = [
            np.bincount(
                lot,
                row_terms(
                    problem.family,
                    problem.kind,
                    problem.entry,
                    problem.lower,
                    problem.upper,
                    np.full(len(lot), theta[0] + kappa * node),
                    theta[1],
                )[0],
            )
            for node in nodes
        ]
        inside = np.log(weights / weights.sum() @ np.exp(each)).sum()
        return -inside - problem.exact_weight * np.log(theta[1])

    start = np.concatenate([plain.summit.theta[:-1], np.zeros(120), plain.summit.theta[-1:]])
    log_kappa = np.log([kappa])
    joint = summit_given(group(problem, (lot,)), log_kappa, start)
    moved = towards_marginal(joint, log_kappa)
    exact = minimize(loss, plain.summit.theta, method="Nelder-Mead").x
    before, after = (
        np.abs([one.theta[0] / one.theta[-1] - exact[0] / exact[1], one.theta[-1] - exact[1]])
        for one in (joint, moved)
    )

    assert data.failures < 200
    assert after[0] < 0.3 * before[0]
    assert after[0] < 0.02
    assert after[1] < 0.03 * exact[1]


def test_crossed_groupings_are_told_apart():
    random = np.random.default_rng(8)
    n = 1200
    lot, crew = random.integers(0, 40, n), random.integers(0, 8, n)
    x = random.normal(size=(n, 1))
    location = 1 + 0.3 * x[:, 0] + random.normal(0, 0.5, 40)[lot]
    life = np.exp(location + 0.5 * np.log(random.exponential(size=n)))
    end = random.uniform(0, 9, n)
    data = lifetimes(np.minimum(life, end), np.where(life < end, life, INF))
    result = fit_with_intercepts(data, Family.WEIBULL, {"crew": crew, "lot": lot}, x, ("ratio",))
    crews, lots = result.intercepts

    assert lots.sd_low < 0.5 < lots.sd_high
    assert crews.sd_low == 0.0
    assert crews.sd < 0.1
    assert result.gain > 20
    error = np.abs(result.coefficients[1] - 0.3)
    assert error < 4 * np.sqrt(result.covariance[1, 1])
    assert result.sigma == pytest.approx(0.5, rel=0.1)


def test_no_difference_leaves_the_plain_fit():
    # Limiting case: without a spread between levels the fit is the plain one.
    data, crew = censored_weibull(seed=5)
    random = np.random.default_rng(1)
    shuffled = random.permutation(crew)
    result = fit_with_intercepts(data, Family.WEIBULL, {"crew": shuffled})
    plain = fit(data, Family.WEIBULL)

    assert result.intercepts[0].sd == 0.0
    assert "no difference between the levels of crew was shown" in result.warnings
    assert result.coefficients == pytest.approx(plain.coefficients, rel=1e-4)
    assert result.covariance == pytest.approx(plain.covariance, rel=1e-2, abs=1e-5)
    assert result.intercepts[0].sd_low == 0.0


def test_draws_carry_known_and_new_levels():
    data, crew = censored_weibull()
    result = fit_with_intercepts(data, Family.WEIBULL, {"crew": crew})
    (crews,) = result.intercepts
    law = draw_lives(result, 20_000, np.random.default_rng(1), {"crew": ["3", "new", "new"]})
    known = list(crews.levels).index("3")
    centre = law.wear_location.mean(axis=0)

    assert law.wear_location.shape == (20_000, 3)
    assert centre[0] == pytest.approx(result.coefficients[0] + crews.effects[known], abs=0.02)
    assert centre[1] == pytest.approx(result.coefficients[0], abs=0.03)
    assert (law.wear_location[:, 1] == law.wear_location[:, 2]).all()
    spread = law.wear_location[:, 1].std()
    assert spread == pytest.approx(np.hypot(crews.sd, np.sqrt(result.covariance[0, 0])), rel=0.03)
    assert np.log(law.wear_sigma).std() == pytest.approx(np.sqrt(result.covariance[1, 1]), rel=0.05)
    assert ((survival(law, 2.0) >= 0) & (survival(law, 2.0) <= 1)).all()


def test_refusals():
    data, crew = censored_weibull()
    with pytest.raises(InputError, match="at least one grouping"):
        fit_with_intercepts(data, Family.WEIBULL, {})
    with pytest.raises(InputError, match="crew needs one label for each of 150 rows, got 3"):
        fit_with_intercepts(data, Family.WEIBULL, {"crew": [1, 2, 3]})
    with pytest.raises(InputError, match="none of them blank"):
        fit_with_intercepts(data, Family.WEIBULL, {"crew": [None] * 150})
    with pytest.raises(NotEstimable, match="at least 2 levels with 2 failures.*got 1 of 1"):
        fit_with_intercepts(data, Family.WEIBULL, {"crew": ["a"] * 150})
    with pytest.raises(NotEstimable, match="got 0 of 150"):
        fit_with_intercepts(data, Family.WEIBULL, {"row": np.arange(150)})
    result = fit_with_intercepts(data, Family.WEIBULL, {"crew": crew})
    with pytest.raises(InputError, match="labels are needed for the grouping crew"):
        draw_lives(result, 10, np.random.default_rng(1), {"lot": ["a"]})
    with pytest.raises(InputError, match="units need 1 labels"):
        draw_lives(result, 10, np.random.default_rng(1), {"crew": ["a"]}, [[1.0]])
