"""The chart itself: what counts as a signal, since when, and how much came since."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import beta, chi2, gamma, poisson

from analytics.early.change_chart import passing, play, rate_ratio
from analytics.errors import InputError

RATIOS = (2.0, 0.5)


def chart(observed, expected, thresholds=(2.0, 2.0)):
    seen, awaited = passing(np.asarray(observed, dtype=float), np.asarray(expected, dtype=float))
    return play(seen, awaited, ratios=RATIOS, thresholds=thresholds)


def test_path_by_hand():
    # ratio 2: down by what is expected, held at 0, up by log 2 a failure; ratio 1/2: up by half
    found = chart([0, 1, 1, 0], [0.5, 0.2, 0.3, 2.0])

    up, step = np.log(2), 0.5
    assert found.rise[1::2] == pytest.approx([0, up, 2 * up - 0.3, 0])
    assert found.fall[1::2] == pytest.approx([0.25, 0, 0, step * 2.0])


def test_change_point_is_the_last_day_at_nought_and_the_count_begins_after_it():
    observed = [0, 0, 1, 0, 1, 1, 1, 1, 0]
    expected = [0, 1, 1, 2, 0.1, 0.1, 0.1, 0.1, 0.1]

    (signal,) = chart(observed, expected).signals

    assert (signal.rose, signal.since, signal.still) == (
        True,
        8,
        True,
    )
    assert signal.signalled == 15
    assert signal.observed == 4
    assert signal.expected == pytest.approx(0.4)


def test_a_fall_is_a_long_time_without_failures():
    (signal,) = chart([0, 1, 0, 0, 0], [0.1, 0.1, 2, 2, 2]).signals

    assert not signal.rose
    assert (signal.since, signal.signalled) == (3, 6)  # after a failure, before one
    assert (signal.observed, signal.expected) == (0, 6)


def test_a_run_that_ends_is_told_to_its_height_and_another_may_follow():
    burst, calm = [1] * 4, [0] * 3
    observed = [0, *burst, *calm, *burst, *calm]
    expected = [0, *[0.01] * 4, *[1.5] * 3, *[0.01] * 4, *[1.5] * 3]

    first, second = (s for s in chart(observed, expected, (2.0, 50.0)).signals if s.rose)

    assert (first.until, first.still, first.observed) == (9, False, 4)
    assert second.since >= first.until
    assert second.observed == 4


def test_nothing_seen_and_nothing_expected_is_no_signal():
    assert chart([0, 0], [0, 0]).signals == ()


@pytest.mark.parametrize(("observed", "expected"), [(10, 8.0), (1, 0.3), (0, 2.0)])
def test_limits_are_the_exact_poisson_ones(observed, expected):
    # F. Garwood, Biometrika 28 (1936) 437-442, in its chi-square form
    low = chi2.ppf(0.025, 2 * observed) / 2 if observed else 0.0
    high = chi2.ppf(0.975, 2 * observed + 2) / 2

    found = rate_ratio(observed, expected)

    assert found == pytest.approx((observed / expected, low / expected, high / expected))


def test_ratios_on_one_side_and_no_threshold_are_refused():
    with pytest.raises(InputError, match="one ratio must lie above 1"):
        play([0], [0], ratios=(2.0, 1.5), thresholds=(1.0, 1.0))
    with pytest.raises(InputError, match="thresholds and shape must be positive"):
        play([0], [0], ratios=RATIOS, thresholds=(0.0, 1.0))


def test_level_learnt_on_the_way_against_quadrature_of_the_bayes_factor():
    # Independent route: integrate the Poisson likelihoods over the Gamma level numerically.
    seen, awaited = np.array([0, 3, 2, 4.0]), np.array([0, 2, 1, 1.0])
    shape = 2.5

    found = play(seen, awaited, ratios=RATIOS, thresholds=(9.0, 9.0), shape=shape)

    def likelihood(level, ratio, since):
        rate = np.where(np.arange(4) > since, ratio, 1.0) * awaited * level
        return gamma.pdf(level, shape, scale=1 / shape) * poisson.pmf(seen, rate).prod()

    for path, ratio in ((found.rise, 2.0), (found.fall, 0.5)):
        none = quad(likelihood, 0, 30, args=(1.0, 3))[0]
        best = max(quad(likelihood, 0, 30, args=(ratio, since))[0] for since in range(4))
        assert path[-1] == pytest.approx(np.log(best / none), abs=1e-6)


def test_a_level_known_for_certain_is_the_limit():
    rng = np.random.default_rng(2)
    seen, awaited = rng.poisson(0.3, 200).astype(float), np.full(200, 0.3)
    seen[0] = awaited[0] = 0.0
    known = play(seen, awaited, ratios=RATIOS, thresholds=(3.0, 3.0))

    nearly = play(seen, awaited, ratios=RATIOS, thresholds=(3.0, 3.0), shape=1e7)

    assert nearly.rise == pytest.approx(known.rise, abs=1e-3)
    assert nearly.fall == pytest.approx(known.fall, abs=1e-3)


def test_a_group_that_was_always_twice_as_bad_raises_nothing():
    rng = np.random.default_rng(3)
    seen, awaited = rng.poisson(1.0, 120).astype(float), np.full(120, 0.5)

    learnt = play(seen, awaited, ratios=RATIOS, thresholds=(5.0, 5.0), shape=1.0)
    fixed = play(seen, awaited, ratios=RATIOS, thresholds=(5.0, 5.0))

    assert learnt.signals == ()
    assert fixed.signals[0].rose


def test_a_change_is_held_against_the_level_before_it():
    seen = np.array([0.0] + [2.0] * 40 + [4.0] * 15)

    (signal,) = play(
        seen, np.append(0.0, np.ones(55)), ratios=RATIOS, thresholds=(5.0, 9.0), shape=1.0
    ).signals

    assert signal.since == 40
    assert signal.expected == pytest.approx(15 * (1 + 80) / (1 + 40))
    assert signal.before == 81


def test_a_level_that_few_failures_told_widens_the_limits():
    # Two Poisson counts on equal exposure: the limits of their ratio by the binomial of one given
    # both, Clopper and Pearson in its F form; few before, wide limits.
    sure, unsure = rate_ratio(20, 10.0), rate_ratio(20, 10.0, before=10)

    assert unsure[1] < sure[1] < sure[2] < unsure[2]
    part = beta.ppf([0.025, 0.975], [20, 21], [11, 10])
    assert unsure[1:] == pytest.approx(part / (1 - part), rel=1e-6)


def test_fittings_of_one_day_are_one_look():
    seen, awaited = np.array([0.0, 100.0]), np.array([0.0, 100.0])
    limits = {"ratios": RATIOS, "thresholds": (5.0, 5.0), "shape": 30.0}

    assert play(*passing(seen, awaited), **limits).signals
    assert play(seen, awaited, **limits).signals == ()
