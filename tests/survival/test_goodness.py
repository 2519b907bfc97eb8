import numpy as np
import pytest

from analytics.errors import NotEstimable
from analytics.survival.goodness import check_fit, residuals
from analytics.survival.law import Family, LifeLaw
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import two_hazard_data


def weibull(scale, shape=3.0):
    one = np.ones((1, 1))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(scale) * one,
        wear_sigma=one / shape,
        install_log_rate=-np.inf * one,
        install_shape=one,
    )


def fleet(n=1500, seed=1, *, shortened=1.0):
    """Weibull lives of scale 6, those of discs with a defect divided by `shortened`."""
    rng = np.random.default_rng(seed)
    defect = (rng.random((n, 1)) < 0.3).astype(float)
    life = 6 * rng.weibull(3.0, n) / np.where(defect[:, 0] == 1, shortened, 1.0)
    stop = rng.uniform(2, 6, n)
    return two_hazard_data(
        lifetimes(np.minimum(life, stop), np.where(life <= stop, life, np.inf)),
        defects=defect,
        defect_names=["seat"],
    )


def test_the_truth_fits():
    found = check_fit(weibull(6), fleet())

    assert found.fits
    assert found.statement.startswith("Fits: over age")


def test_the_truth_is_seldom_called_a_misfit():
    # 1 % by design; over 100 fleets more than 5 has probability below 0.001.
    flagged = sum(not check_fit(weibull(6), fleet(300, seed)).fits for seed in range(100))

    assert flagged <= 5


def test_a_misfit_is_called_one_and_the_worst_group_is_named():
    found = check_fit(weibull(6), fleet(shortened=1.6))

    assert not found.fits
    assert found.statement.startswith("Does not fit")
    assert "one defect" in found.statement


def test_a_wrong_shape_is_seen_in_the_ages():
    assert not check_fit(weibull(6, shape=1.5), fleet()).fits


def test_every_failure_and_expectation_lands_in_one_group_of_each_grouping():
    data = fleet()
    found = check_fit(weibull(6), data)
    sums = found.groups.groupby("grouping")[["failures", "expected"]].sum()

    expected = (data.lifetimes.lower / 6) ** 3
    np.testing.assert_allclose(sums["failures"], data.lifetimes.failures)
    np.testing.assert_allclose(sums["expected"], expected.sum())


def test_residuals_by_hand():
    # Unit exponential on the scale of the cumulative hazard H = (t / 6)^3.
    lives = lifetimes([3.0, 6.0], [3.0, np.inf], entry=[0.0, 3.0])
    found = residuals(weibull(6), lives)

    np.testing.assert_allclose(found["entry_hazard"], [0, 0.125])
    np.testing.assert_allclose(found["exit_hazard"], [0.125, 1.0])
    np.testing.assert_allclose(found["martingale"], [0.875, -0.875])
    np.testing.assert_allclose(
        found["deviance"], [np.sqrt(-2 * (0.875 + np.log(0.125))), -np.sqrt(1.75)]
    )


def test_no_failure_is_refused():
    with pytest.raises(NotEstimable, match="at least one failure, got none"):
        check_fit(weibull(6), two_hazard_data(lifetimes([1.0], [np.inf])))
