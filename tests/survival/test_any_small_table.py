"""Whatever small table comes: an answer whose limits hold its estimate, or a typed refusal."""

import numpy as np
import pytest

from analytics.errors import InputError, NotEstimable
from analytics.survival.few_failures import careful_fit
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import failure_probability, life_quantile, parameters


def small_table(seed):
    """Up to forty rows of every kind, ties, late entries, weights, up to three covariates."""
    random = np.random.default_rng(seed)
    n, p = int(random.integers(1, 40)), int(random.integers(0, 4))
    life = np.exp(random.normal(5 * random.normal(), random.exponential(1.0), n))
    life = np.ceil(2 * life) / 2 if random.random() < 0.3 else life
    end = np.exp(random.normal(np.log(np.median(life)), 1, n))
    lower, upper = np.minimum(life, end), np.where(life <= end, life, np.inf)
    looked = np.isfinite(upper) & (random.random(n) < random.random())
    width = np.median(life) * random.random()
    lower = np.where(looked, np.floor(lower / width) * width, lower)
    upper = np.where(looked, lower + width, upper)
    entry = np.where(random.random(n) < 0.6 * random.random(), lower * random.random(n), 0.0)
    weight = random.choice([0, 1, 1, 1, 2.5], n) if random.random() < 0.3 else 1.0
    x = random.normal(size=(n, p))
    if p and random.random() < 0.5:
        x[:, 0] = random.integers(0, 2, n)
    return lower, upper, entry, weight, x


def outcome(seed) -> str:
    lower, upper, entry, weight, x = small_table(seed)
    names = tuple(f"x{j}" for j in range(x.shape[1]))
    family = list(Family)[seed % 4]
    how = careful_fit if seed % 3 == 0 else fit
    try:
        data = lifetimes(lower, upper, entry=entry, weight=weight)
        result = how(data, family, x, names)
    except (InputError, NotEstimable) as refusal:
        return type(refusal).__name__
    row = x.mean(axis=0)
    age = failure_probability(result, float(np.exp(np.log(upper[upper < np.inf]).mean())), row)
    for quantity in (*parameters(result), life_quantile(result, 0.1, row), age):
        told = limits(result, quantity)
        slack = 1e-9 * abs(told.estimate)
        for low, high in (told.wald, told.likelihood_ratio):
            assert low is None or low <= told.estimate + slack, (seed, quantity.name)
            assert high is None or told.estimate <= high + slack, (seed, quantity.name)
    return "answer"


@pytest.mark.parametrize("hundred", range(3))
def test_an_answer_or_a_typed_refusal(hundred):
    found = [outcome(seed) for seed in range(100 * hundred, 100 * hundred + 100)]

    assert found.count("answer") > 50
    assert found.count("NotEstimable") > 5
