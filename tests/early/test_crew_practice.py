import numpy as np
import pytest
from scipy.stats import betabinom

from analytics.early.crew_practice import _WORTH, practice_draws

USUAL = np.array([0.15, 0.1, 0.2])


def crews(rng, *, a, c, records=40, n=8):
    """Crews drawn as the model says: true frequencies, defects, records."""
    care = rng.gamma(a, 1 / a, (n, 1))
    usual = np.minimum(care * USUAL, 0.95)
    true = rng.beta(c * usual, c * (1 - usual))
    of = np.full(true.shape, float(records))
    return true, rng.binomial(records, true).astype(float), of


def best_two(frequencies):
    return np.sort(frequencies, axis=-2)[..., :2, :].mean(axis=(-2, -1))


def test_frequencies_against_weighing_the_prior_by_the_likelihood():
    # Independent route: draw everything from the prior, weigh by scipy's beta-binomial.
    defects, of = np.array([5.0, 12.0, 30.0, 9.0]), np.array([80.0, 70.0, 90.0, 100.0])
    rng, n = np.random.default_rng(1), 400_000
    flat = _WORTH**-0.5 / (_WORTH**-0.5).sum()
    a, c = (rng.choice(_WORTH, (n, 1), p=flat) for _ in range(2))
    p = np.minimum(rng.gamma(a, 1 / a, (n, 4)) * defects.sum() / of.sum(), 0.95)
    weight = np.prod(betabinom.pmf(defects, of, c * p, c * (1 - p)), axis=1)
    mean = weight @ ((c * p + defects) / (c + of)) / weight.sum()
    found = practice_draws(defects[:, None], of[:, None], n_draws=20_000, seed=2)[:, :, 0]
    # both are simulations: the weights of the first are worth some ten thousand draws
    np.testing.assert_allclose(found.mean(axis=0), mean, rtol=0.02)


@pytest.mark.parametrize(("a", "c"), [(6.0, 30.0), (6.0, 1e4), (100.0, 300.0)])
def test_limits_of_the_best_quarter_hold_where_crews_are_drawn_as_the_model_says(a, c):
    rng, held, fleets = np.random.default_rng(3), 0, 120
    for seed in range(fleets):
        true, defects, of = crews(rng, a=a, c=c)
        drawn = practice_draws(defects, of, n_draws=400, seed=seed)
        best, found = best_two(true), best_two(drawn)
        low, high = np.quantile(found, [0.025, 0.975])
        held += low <= best <= high
    # 95 %, less three standard errors of 120 fleets
    assert held / fleets > 0.95 - 3 * np.sqrt(0.95 * 0.05 / fleets)


def test_a_crew_without_records_is_as_unsure_as_the_crews_are_unlike():
    _, defects, of = crews(np.random.default_rng(5), a=6.0, c=1e4, records=400)
    defects[0], of[0] = 0.0, 0.0
    spread = practice_draws(defects, of, n_draws=4000, seed=1)[:, :, 0].std(axis=0)
    among = (defects[1:, 0] / of[1:, 0]).std()
    assert spread[0] > 3 * spread[1:].max()
    assert 0.7 * among < spread[0] < 2 * among


def test_records_without_end_are_believed():
    _, defects, of = crews(np.random.default_rng(6), a=6.0, c=100.0, records=100_000)
    drawn = practice_draws(defects, of, n_draws=200, seed=1)
    np.testing.assert_allclose(drawn.mean(axis=0), defects / of, rtol=0.01)


def test_the_same_seed_gives_the_same_draws():
    _, defects, of = crews(np.random.default_rng(7), a=6.0, c=100.0)
    again = [practice_draws(defects, of, n_draws=50, seed=seed) for seed in (1, 1, 2)]
    np.testing.assert_array_equal(again[0], again[1])
    assert not np.array_equal(again[0], again[2])
