"""Kinds of install, against every pattern of defects renewed by itself."""

from itertools import product

import numpy as np
import pytest

from analytics.survival.followers import KINDS, followers
from analytics.survival.law import Family, LifeLaw
from analytics.survival.left_in_place import OtherEndings, net_of_later
from analytics.survival.two_hazard_draws import TwoHazardDraws

NEVER = OtherEndings(age=np.zeros(1), cumulative_hazard=np.zeros(1))
EFFECTS = np.log([4.0, 5.0, 2.0, 3.0])
PREVALENCE = np.array([0.15, 0.15, 0.12, 0.1])


def draws(effects=EFFECTS, wear=(0.0, 0.0, 0.0, 0.0), n=2):
    one = np.ones(n)
    return TwoHazardDraws(
        install_log_rate=np.log(0.04) * one,
        install_shape=0.5 * one,
        defect_effects=np.tile(effects, (n, 1)),
        first_defect_effect=0 * one,
        install_effects=np.zeros((n, 0)),
        wear_location=np.log(9.0) * one,
        wear_sigma=one / 3,
        wear_effects=np.zeros((n, 0)),
        wear_defect_effects=np.tile(wear, (n, 1)),
    )


def law(log_ratio):
    one = np.ones((1, 1))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(9.0) * one,
        wear_sigma=one / 3,
        install_log_rate=np.log(0.04) * one + log_ratio,
        install_shape=0.5 * one,
    )


def saved(following):
    """What a failure of a clean disc at half a year saves, six years from the end."""
    given = {"age_years": np.array([0.5]), "remaining_years": np.array([6.0])}
    return net_of_later([(1.0, law(0.0))], following, NEVER, **given)[0, 0]


def test_few_kinds_do_for_every_pattern_of_defects():
    # Independent route: all sixteen patterns, each by its own law and as often as it comes.
    patterns = np.array(list(product([0, 1], repeat=4)))
    often = np.prod(np.where(patterns, PREVALENCE, 1 - PREVALENCE), axis=1)
    every = saved([(w, law(x @ EFFECTS)) for w, x in zip(often, patterns, strict=True)])
    found = followers(draws(), PREVALENCE)
    kinds = saved([(w, law(x)) for w, x in zip(found.weight, found.early[0], strict=True)])
    mean = saved([(1.0, law(np.log(often @ np.exp(patterns @ EFFECTS))))])
    assert len(found.weight) == KINDS
    assert kinds == pytest.approx(every, abs=0.01)
    assert mean > every + 0.04


def test_the_mean_hazard_is_that_of_the_installs():
    rng = np.random.default_rng(1)
    rows = (rng.random((300, 4)) < PREVALENCE).astype(float)
    found = followers(draws(wear=(0.3, 0.0, 0.0, 0.1)), rows)
    for log_ratio, effects in ((found.early, EFFECTS), (found.late, [0.3, 0.0, 0.0, 0.1])):
        mean = np.exp(rows @ np.array(effects)).mean()
        # each of 300 rows is looked at 66 or 67 times
        np.testing.assert_allclose(np.exp(log_ratio) @ found.weight, mean, rtol=0.01)


def test_clean_discs_are_of_one_kind():
    for practice in (np.zeros(4), np.zeros((50, 4))):
        found = followers(draws(), practice)
        assert found.weight.tolist() == [1.0]
        np.testing.assert_array_equal(found.early, 0.0)
        np.testing.assert_array_equal(found.late, 0.0)


def test_without_checks_there_is_one_kind():
    assert followers(draws(effects=(), wear=()), np.zeros((5, 0))).weight.tolist() == [1.0]
