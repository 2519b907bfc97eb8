import numpy as np
import pytest
from scipy.integrate import quad

from analytics.errors import NotEstimable
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import TwoHazardDraws, share_owed, two_hazard_data
from analytics.survival.two_hazard_draws import install_log_ratio

A, K, M, S = np.log(0.1), 0.5, np.log(6.0), 0.4
B = np.array([1.5, 0.7])


def one_draw(effects=B, wearing=(0.0, 0.0), first=0.0):
    return TwoHazardDraws(
        install_log_rate=np.array([A]),
        install_shape=np.array([K]),
        defect_effects=np.asarray(effects)[None, :],
        first_defect_effect=np.array([first]),
        install_effects=np.zeros((1, 0)),
        wear_location=np.array([M]),
        wear_sigma=np.array([S]),
        wear_effects=np.zeros((1, 0)),
        wear_defect_effects=np.asarray(wearing)[None, :],
    )


def lives(lower, upper, defects, **more):
    return two_hazard_data(
        lifetimes(lower, upper, **more), defects=defects, defect_names=["seat", "gap"]
    )


def hazards(age, ratio):
    wear = (age / np.exp(M)) ** (1 / S) / S / age
    return ratio * np.exp(A) * K * age ** (K - 1), wear


def test_share_of_an_exact_failure_is_the_added_hazard_over_all():
    found = share_owed(one_draw(), lives([2.0, 3.0], [2.0, np.inf], [[1, 0], [1, 1]]))

    installation, wear = hazards(2.0, np.exp(B[0]))
    clean, _ = hazards(2.0, 1.0)
    assert found.failures.tolist() == [0]
    assert found.share[0, 0] == pytest.approx((installation - clean) / (installation + wear))


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.5), (1.0, 4.0), (5.0, 5.01)])
def test_share_of_an_interval_is_the_mean_over_the_ages_it_may_have_had(low, high):
    # Independent route: adaptive quadrature of added hazard times survival over age.
    ratio = np.exp(B.sum())

    def survived(age):
        return np.exp(-ratio * np.exp(A) * age**K - (age / np.exp(M)) ** (1 / S))

    owed = quad(lambda t: survived(t) * (1 - 1 / ratio) * hazards(t, ratio)[0], low, high)[0]
    found = share_owed(one_draw(), lives([low], [high], [[1, 1]]))

    assert found.share[0, 0] == pytest.approx(owed / (survived(low) - survived(high)), rel=1e-6)


def test_defects_add_up_to_the_share_and_follow_their_log_ratios():
    found = share_owed(one_draw(), lives([1.0, 2.0], [1.0, 2.5], [[1, 1], [0, 1]]))

    np.testing.assert_allclose(found.defect_share.sum(axis=1), found.share[0])
    assert found.defect_share[0, 0] / found.defect_share[0, 1] == pytest.approx(B[0] / B[1])
    assert found.defect_share[1, 0] == 0
    owed = found.defect_owed
    assert owed["seat"].estimate + owed["gap"].estimate == pytest.approx(
        found.failures_owed.estimate
    )


def test_an_unrecorded_check_stays_unknown_and_is_right_on_average():
    # Independent route: the share of the marginal hazard, p h(t; 1) + (1 - p) h(t; 0); the
    # mean of 20,000 draws is within four standard errors (spread below 0.5, so 0.015).
    p = 0.3
    draws = one_draw()
    many = {name: np.repeat(getattr(draws, name), 20_000, axis=0) for name in draws.__slots__}
    found = share_owed(TwoHazardDraws(**many), lives([2.0], [2.0], [[p, 0]]))

    clean, wear = hazards(2.0, 1.0)
    marginal = 1 - p + p * np.exp(B[0])
    expected = clean * (marginal - 1) / (clean * marginal + wear)
    assert found.estimate[0] == pytest.approx(expected, abs=0.015)
    present = clean * (np.exp(B[0]) - 1) / (clean * np.exp(B[0]) + wear)
    np.testing.assert_allclose(np.unique(found.share.round(9)), [0.0, present], atol=1e-8)
    assert found.low[0] == 0
    assert found.high[0] == pytest.approx(present)


def test_effects_that_cancel_still_add_up():
    found = share_owed(one_draw([0.9, -0.9]), lives([1.0], [1.0], [[1, 1]]))

    assert found.share[0, 0] == pytest.approx(0.0, abs=1e-12)
    assert found.defect_share[0, 0] == pytest.approx(-found.defect_share[0, 1])
    assert found.defect_share[0, 0] > 0


def test_a_clean_installation_owes_nothing():
    found = share_owed(one_draw(), lives([1.0, 4.0], [1.0, 4.0], np.zeros((2, 2))))

    assert np.all(found.share == 0)
    assert found.avoided.estimate == 0


def test_avoided_failures_are_the_added_cumulative_hazard_watched():
    found = share_owed(
        one_draw(),
        lives([2.0, 3.0], [2.0, np.inf], [[1, 0], [1, 1]], entry=[0.0, 1.0], weight=[1.0, 2.0]),
    )

    first = (np.exp(B[0]) - 1) * np.exp(A) * 2.0**K
    second = 2 * (np.exp(B.sum()) - 1) * np.exp(A) * (3.0**K - 1.0)
    assert found.avoided.estimate == pytest.approx(first + second)


def test_avoided_over_an_interval_is_its_mean_end():
    # Independent route: mean of the added cumulative hazard at T over the density of T in (l, u].
    low, high, ratio = 1.0, 4.0, np.exp(B.sum())

    def density(age):
        survived = np.exp(-ratio * np.exp(A) * age**K - (age / np.exp(M)) ** (1 / S))
        return survived * sum(hazards(age, ratio))

    mean = quad(lambda t: density(t) * (ratio - 1) * np.exp(A) * t**K, low, high)[0]
    mean /= quad(density, low, high)[0]
    found = share_owed(one_draw(), lives([low], [high], [[1, 1]]))

    assert found.avoided.estimate == pytest.approx(mean, rel=1e-6)


def test_shares_need_checks_and_failures():
    with pytest.raises(NotEstimable, match="at least one failure, got none"):
        share_owed(one_draw(), lives([1.0], [np.inf], [[1, 1]]))
    nothing = two_hazard_data(lifetimes([1.0]))
    with pytest.raises(NotEstimable, match="at least one recorded check"):
        share_owed(one_draw(), nothing)


def test_a_defect_that_also_wears_owes_for_both_hazards():
    found = share_owed(one_draw(wearing=(0.8, 0.0)), lives([4.0], [4.0], [[1, 0]]))

    early, late = hazards(4.0, np.exp(B[0]))
    clean = sum(hazards(4.0, 1.0))
    assert found.share[0, 0] == pytest.approx(1 - clean / (early + late * np.exp(0.8)))


def test_avoided_counts_the_wear_that_defects_added():
    found = share_owed(one_draw((0.0, 0.0), wearing=(0.8, 0.0)), lives([4.0], [4.0], [[1, 0]]))

    added = (np.exp(0.8) - 1) * (4.0 / np.exp(M)) ** (1 / S)
    assert found.avoided.estimate == pytest.approx(added)


def test_what_the_first_defect_does_is_shared_evenly():
    found = share_owed(one_draw(first=0.9), lives([2.0], [2.0], [[1, 1]]))

    installation, wear = hazards(2.0, np.exp(B.sum() + 0.9))
    clean, _ = hazards(2.0, 1.0)
    assert found.share[0, 0] == pytest.approx((installation - clean) / (installation + wear))
    parts = found.defect_share[0]
    assert parts[0] / parts[1] == pytest.approx((B[0] + 0.45) / (B[1] + 0.45))


def test_unrecorded_checks_are_drawn_as_often_as_every_case_counted_out_says():
    # Independent route: all four cases of two unrecorded checks, weighted by prior times the
    # hazard at failure; the spread of a mean of 40,000 draws is below 0.0025.
    p, first, wearing = np.array([0.3, 0.2]), 1.1, np.array([0.4, -0.3])
    expected, weight = 0.0, 0.0
    clean_early, clean_late = hazards(2.0, 1.0)
    for case in ((0, 0), (0, 1), (1, 0), (1, 1)):
        x = np.array(case)
        early = clean_early * np.exp(B @ x + first * x.any())
        late = clean_late * np.exp(wearing @ x)
        chance = np.prod(np.where(x == 1, p, 1 - p))
        expected += chance * (early + late - clean_early - clean_late)
        weight += chance * (early + late)
    draws = one_draw(wearing=wearing, first=first)
    many = {name: np.repeat(getattr(draws, name), 40_000, axis=0) for name in draws.__slots__}
    found = share_owed(TwoHazardDraws(**many), lives([2.0], [2.0], [p]))

    assert found.estimate[0] == pytest.approx(expected / weight, abs=0.01)


def test_ratio_of_unrecorded_defects_is_the_mean_over_their_cases():
    p, first = np.array([0.3, 0.2]), 0.7
    mean = 0.0
    for case in ((0, 0), (0, 1), (1, 0), (1, 1)):
        x = np.array(case)
        mean += np.prod(np.where(x == 1, p, 1 - p)) * np.exp(B @ x + first * x.any())

    ratio = install_log_ratio(one_draw(first=first), p[None, :])
    assert ratio[0, 0] == pytest.approx(np.log(mean))
