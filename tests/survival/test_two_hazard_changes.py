"""The share a change spares, against the hazards written out; the sums, against their parts."""

from itertools import product

import numpy as np
import pytest

from analytics.errors import NotEstimable
from analytics.survival.left_in_place import OtherEndings
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import TwoHazardDraws, share_owed, two_hazard_data
from analytics.survival.two_hazard_changes import Change, avoided_failures

NEVER = OtherEndings(age=np.zeros(1), cumulative_hazard=np.zeros(1))
A, K, M, S, G = np.log(0.1), 0.5, np.log(6.0), 0.4, -5.0
B, W = np.array([1.5, 0.7]), np.array([0.4, 0.0])
GONE = np.zeros(3)


def draws(first=0.0, n=3):
    return TwoHazardDraws(
        install_log_rate=np.full(n, A),
        install_shape=np.full(n, K),
        defect_effects=np.tile(B, (n, 1)),
        first_defect_effect=np.full(n, first),
        install_effects=np.zeros((n, 0)),
        wear_location=np.full(n, M),
        wear_sigma=np.full(n, S),
        wear_effects=np.full((n, 1), G),
        wear_defect_effects=np.tile(W, (n, 1)),
    )


def data(defects=((1, 1), (1, 0), (0, 0)), age=(0.5, 2.0, 4.0), weight=(1.0, 1.0, 1.0)):
    return two_hazard_data(
        lifetimes([*age, 3.0], [*age, np.inf], weight=[*weight, 1.0]),
        defects=[*defects, (0, 1)],
        defect_names=["seat", "gap"],
        wear_design=np.zeros((4, 1)),
        wear_names=["ratio"],
    )


def hazard(age, defects, shift=0.0, first=0.0):
    x = np.asarray(defects, dtype=float)
    scale = np.exp(M + G * shift)
    early = np.exp(A + B @ x + first * x.any()) * K * age ** (K - 1)
    return early + np.exp(W @ x) * (age / scale) ** (1 / S) / S / age


def avoided(change, lives=None, remaining=(0.0, 0.0, 0.0), first=0.0, tallies=None):
    (found,) = avoided_failures(
        draws(first),
        data() if lives is None else lives,
        [change],
        others=NEVER,
        remaining_years=np.array(remaining),
        tallies=tallies,
    )
    return found


@pytest.mark.parametrize("first", [0.0, 0.8])
def test_one_step_mended_spares_its_part_of_both_hazards(first):
    found = avoided(Change(practice=np.zeros(2), kept={0: GONE}), first=first)
    expected = [
        1 - hazard(0.5, [0, 1], first=first) / hazard(0.5, [1, 1], first=first),
        1 - hazard(2.0, [0, 0]) / hazard(2.0, [1, 0], first=first),
        0.0,
    ]
    np.testing.assert_allclose(found.each, expected)
    np.testing.assert_allclose(found.at_once, sum(expected))


@pytest.mark.parametrize("first", [0.0, 0.8])
def test_all_steps_mended_spare_the_share_owed(first):
    found = avoided(Change(practice=np.zeros(2), kept={0: GONE, 1: GONE}), first=first)
    owed = share_owed(draws(first), data())
    np.testing.assert_allclose(found.each, owed.estimate)
    assert found.at_once[0] == pytest.approx(owed.failures_owed.estimate)


def test_a_defect_kept_in_part_is_the_mean_of_kept_and_gone():
    found = avoided(Change(practice=np.zeros(2), kept={0: np.full(3, 0.25)}))
    now, without = hazard(2.0, [1, 0]), hazard(2.0, [0, 0])
    assert found.each[1] == pytest.approx(0.75 * (1 - without / now))


def each_way(chances, remaining):
    """What is saved by every way the defects may turn out, weighed by its chance."""
    total = 0.0
    for ways in product((0, 1), repeat=len(chances)):
        often = np.prod([q if way else 1 - q for q, way in zip(chances, ways, strict=True)])
        kept = {j: np.full(3, float(way)) for j, way in enumerate(ways)}
        total += often * avoided(Change(practice=np.zeros(2), kept=kept), remaining=remaining).each
    return total


def test_a_disc_left_in_place_lost_what_made_it_fail():
    # Of one defect kept or gone only the gone one saves, and its disc is clean from then on.
    remaining = (9.0, 9.0, 9.0)
    chance = np.full(3, 0.4)
    one = avoided(Change(practice=np.zeros(2), kept={0: chance}), remaining=remaining)
    np.testing.assert_allclose(one.each, each_way([0.4], remaining), rtol=1e-9)
    both = Change(practice=np.zeros(2), kept={0: chance, 1: np.full(3, 0.7)})
    found = avoided(both, remaining=remaining).each
    np.testing.assert_allclose(found, each_way([0.4, 0.7], remaining), rtol=0.005)


def test_a_lower_ratio_is_read_off_the_hazards_under_both():
    shift = np.array([[-0.2], [0.0], [-0.1]])
    found = avoided(Change(practice=np.zeros(2), wear_shift=shift))
    expected = [
        1 - hazard(0.5, [1, 1], -0.2) / hazard(0.5, [1, 1]),
        0.0,
        1 - hazard(4.0, [0, 0], -0.1) / hazard(4.0, [0, 0]),
    ]
    np.testing.assert_allclose(found.each, expected)


def test_what_comes_later_is_taken_off():
    lasting = avoided(Change(practice=np.zeros(2), kept={0: GONE}), remaining=(9.0, 9.0, 9.0))
    at_end = avoided(Change(practice=np.zeros(2), kept={0: GONE}))
    assert lasting.at_once[0] == pytest.approx(at_end.at_once[0])
    assert 0.3 * at_end.total[0, 0] < lasting.total[0, 0] < at_end.total[0, 0]


def test_tallies_weigh_each_failure_and_unclear_ones_in_part():
    lives = data(weight=(0.5, 1.0, 1.0))
    change = Change(practice=np.zeros(2), kept={0: GONE})
    cost = np.array([[100.0], [10.0], [1.0]])
    found = avoided(change, lives, tallies=cost)
    assert found.total[0, 0] == pytest.approx(0.5 * found.each[0] + found.each[1])
    assert found.total[0, 1] == pytest.approx(50 * found.each[0] + 10 * found.each[1])


def test_what_nobody_recorded_is_right_on_average():
    # Independent route: of the marginal hazard, p of it with the defect, 1 - p without.
    many = data(defects=((0.3, 0), (0, 0), (0, 0)))
    found = avoided_failures(
        draws(n=20_000),
        many,
        [Change(practice=np.zeros(2), kept={0: GONE})],
        others=NEVER,
        remaining_years=np.zeros(3),
    )[0]
    with_it, without = hazard(0.5, [1, 0]), hazard(0.5, [0, 0])
    marginal = 0.3 * with_it + 0.7 * without
    # four standard errors of 20,000 draws between 0 and 1
    assert found.each[0] == pytest.approx(1 - without / marginal, abs=0.015)


def test_nothing_failed():
    lives = two_hazard_data(
        lifetimes([3.0], [np.inf]), defects=[[1, 0]], defect_names=["a", "b"],
        wear_design=[[0.0]], wear_names=["ratio"],
    )  # fmt: skip
    with pytest.raises(NotEstimable, match="at least one failure on record, got none"):
        avoided_failures(draws(), lives, [], others=NEVER, remaining_years=np.zeros(0))
