"""Median ranks, adjusted ranks and rank regression."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import binom

from analytics.errors import InputError, NotEstimable
from analytics.survival.curves import kaplan_meier
from analytics.survival.ranks import (
    MedianRank,
    Regress,
    adjusted_ranks,
    median_rank,
    plot_positions,
    rank_regression,
)

FAILURES = [30.0, 49, 82, 90, 96]
SUSPENSIONS = [10.0, 45, 100]
AGE = np.array(FAILURES + SUSPENSIONS)
FAILED = np.array([True] * 5 + [False] * 3)


@pytest.mark.parametrize(
    ("n_units", "method", "expected"),
    [
        # Median of Beta(i, N + 1 - i), and Benard (i - 0.3) / (N + 0.4), 7 digits.
        (5, MedianRank.EXACT, [0.1294494, 0.3138102, 0.5, 0.6861898, 0.8705506]),
        (5, MedianRank.BENARD, [0.1296296, 0.3148148, 0.5, 0.6851852, 0.8703704]),
        (10, MedianRank.EXACT, [0.0669670, 0.1622627, 0.2585747, 0.3551000, 0.4516942]),
        (10, MedianRank.BENARD, [0.0673077, 0.1634615, 0.2596154, 0.3557692, 0.4519231]),
    ],
)
def test_median_ranks(n_units, method, expected):
    ranks = np.arange(1, len(expected) + 1)

    assert median_rank(ranks, n_units, method=method) == pytest.approx(expected, abs=5e-8)


def test_exact_median_rank_from_the_binomial():
    # Independent route: the share at which three or more of seven have failed half the time.
    share = brentq(lambda p: binom.sf(2, 7, p) - 0.5, 0.01, 0.99, xtol=1e-14)

    assert median_rank(3, 7) == pytest.approx(share, abs=1e-12)


def test_adjusted_ranks_with_suspensions():
    # Abernethy, The New Weibull Handbook, Fig. 2-5, as quoted in an open repository:
    # failures 30 49 82 90 96, suspensions 10 45 100.
    age, rank = adjusted_ranks(AGE, FAILED)

    assert age.tolist() == FAILURES
    assert rank == pytest.approx([1.125, 2.4375, 3.75, 5.0625, 6.375], abs=1e-12)
    benard = plot_positions(AGE, FAILED, method=MedianRank.BENARD).share_failed
    assert benard == pytest.approx(
        [0.0982143, 0.2544643, 0.4107143, 0.5669643, 0.7232143], abs=5e-8
    )


@pytest.mark.parametrize(
    ("method", "regress", "shape", "scale"),
    [
        # The same figure prints shape 2.024 and scale 94.998 (x on y, Benard); further digits
        # and the other rows computed with numpy, 1e-6.
        (MedianRank.BENARD, Regress.AGE_ON_SHARE, 2.0242586, 94.997943),
        (MedianRank.BENARD, Regress.SHARE_ON_AGE, 1.9294182, 96.889399),
        (MedianRank.EXACT, Regress.AGE_ON_SHARE, 2.0327074, 94.930942),
    ],
)
def test_rank_regression_with_suspensions(method, regress, shape, scale):
    line = rank_regression(plot_positions(AGE, FAILED, method=method), regress=regress)

    assert line.shape == pytest.approx(shape, abs=1e-6)
    assert line.scale == pytest.approx(scale, abs=1e-6)


def test_squared_correlation():
    # Computed with numpy on the same figure, 7 digits.
    line = rank_regression(plot_positions(AGE, FAILED, method=MedianRank.BENARD))

    assert line.r_squared == pytest.approx(0.9531481, abs=5e-8)


def test_rank_regression_on_nist_data():
    # NIST/SEMATECH e-Handbook 8.2.2.1, printed R output: slope 1.457519 and intercept
    # -4.116536 on log10 paper (y on x, Benard), so scale 667.336364; x on y with numpy.
    age = np.array([54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10)
    points = plot_positions(age, age < 500, method=MedianRank.BENARD)
    y_on_x = rank_regression(points, regress=Regress.SHARE_ON_AGE)
    x_on_y = rank_regression(points, regress=Regress.AGE_ON_SHARE)

    assert y_on_x.shape == pytest.approx(1.457519, abs=5e-7)
    assert -y_on_x.shape * np.log10(y_on_x.scale) == pytest.approx(-4.116536, abs=5e-7)
    assert y_on_x.scale == pytest.approx(667.336364, abs=1e-6)
    assert x_on_y.shape == pytest.approx(1.6259628, abs=1e-6)
    assert x_on_y.scale == pytest.approx(601.959890, abs=1e-6)


def test_adjusted_ranks_rise_like_kaplan_meier():
    # Independent route: 1 - i / (N + 1) is the product-limit with one more unit that
    # outlives all others.
    rng = np.random.default_rng(2)
    age = np.append(rng.permutation(40) + 1.0, 99.0)
    failed = np.append(rng.random(40) < 0.6, False)
    curve = kaplan_meier(age, failed)

    rank = adjusted_ranks(age[:-1], failed[:-1])[1]
    assert 1 - rank / 41 == pytest.approx(curve.survival, abs=1e-12)


def test_failure_comes_before_a_unit_that_left_at_the_same_age():
    # By hand, three units: the failure is first of three, so its rank is 1, not 4 / 3.
    assert adjusted_ranks([5.0, 5.0, 8.0], [False, True, False])[1].tolist() == [1.0]


def test_points_on_a_weibull_line_give_it_back():
    points = plot_positions(np.arange(1.0, 9), np.ones(8, dtype=bool))
    exact = 70 * (-np.log1p(-points.share_failed)) ** (1 / 2.5)
    line = rank_regression(plot_positions(exact, np.ones(8, dtype=bool)))

    assert (line.shape, line.scale, line.r_squared) == pytest.approx((2.5, 70, 1), rel=1e-9)


def test_nothing_failed_gives_no_points():
    assert plot_positions([5.0, 6.0], [False, False]).age.size == 0


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (lambda: median_rank(0, 5), InputError, "rank must lie in \\(0, 6\\)"),
        (lambda: adjusted_ranks([], []), InputError, "one shape"),
        (lambda: adjusted_ranks([1.0], [True, True]), InputError, "one shape"),
        (lambda: adjusted_ranks([np.nan], [True]), InputError, "age must be finite"),
        (lambda: rank_regression(plot_positions([5.0] * 3, [True] * 3)), NotEstimable, "two dis"),
        (lambda: rank_regression(plot_positions([5.0], [False])), NotEstimable, "two distinct"),
        (
            lambda: rank_regression(plot_positions([0.0, 1, 2], [True] * 3)),
            NotEstimable,
            "all above 0",
        ),
    ],
)
def test_bad_input_is_refused(call, error, message):
    with pytest.raises(error, match=message):
        call()
