"""How fast is the two-hazard fit, and where is the limit? Processor seconds of this process.

Run with `pytest -m benchmark tests/benchmarks/test_two_hazard_speed.py -s` for the figures.
"""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "studies"))

import share_worlds as worlds

from analytics.survival.two_hazard import fit_two_hazard, parameter_draws, share_owed, take_rows

pytestmark = pytest.mark.benchmark


def seconds(work, repeats=1):
    """Least processor time of a few runs; the first, which compiles, is not counted."""
    best = np.inf
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return best


@pytest.fixture(scope="module")
def thousand():
    data = worlds.fleet(worlds.two_hazards, 1000, 1).data
    fit_two_hazard(data)
    return data


def test_a_thousand_lives_are_fitted_while_a_finger_is_on_the_key(thousand):
    # Eight defects, two duty covariates, four versions of the model.
    taken = seconds(lambda: fit_two_hazard(thousand), repeats=5)

    print(f"\n1,000 lives: {1000 * taken:.1f} ms")
    assert taken < 0.1


def test_time_grows_in_step_with_the_lives(thousand):
    rng = np.random.default_rng(2)
    large = take_rows(thousand, rng.integers(0, 1000, 100_000))
    ten = seconds(lambda: fit_two_hazard(take_rows(large, np.arange(10_000))), repeats=2)
    hundred = seconds(lambda: fit_two_hazard(large))

    print(f"\n10,000 lives: {ten:.2f} s; 100,000 lives: {hundred:.2f} s")
    assert hundred / ten < 10**1.15


def test_a_bootstrap_of_a_thousand_refits(thousand):
    rng = np.random.default_rng(3)
    refits = 1000
    start = time.process_time()
    shapes = []
    for _ in range(refits):
        refit = fit_two_hazard(take_rows(thousand, rng.integers(0, 1000, 1000)))
        shapes.append(refit.estimates.wear_shape.estimate)
    taken = time.process_time() - start

    print(f"\n{refits} refits of 1,000 lives: {taken:.1f} s; shape spread {np.std(shapes):.2f}")
    assert taken < 100


def test_shares_of_a_large_fleet(thousand):
    large = take_rows(thousand, np.random.default_rng(4).integers(0, 1000, 20_000))
    draws = parameter_draws(fit_two_hazard(large), 500)
    taken = seconds(lambda: share_owed(draws, large))

    failures = large.lifetimes.failures
    print(f"\nshares of {failures:.0f} failures among 20,000 lives, 500 draws: {taken:.1f} s")
    assert taken < 60
