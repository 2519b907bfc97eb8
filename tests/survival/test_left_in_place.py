import numpy as np
import pytest

from analytics.survival.law import Family, LifeLaw
from analytics.survival.left_in_place import OtherEndings, net_of_later, other_endings

NEVER = OtherEndings(age=np.zeros(1), cumulative_hazard=np.zeros(1))


def law(scale=6.0, shape=3.0, rate=-np.inf, install_shape=0.5):
    one = np.ones((1, 1))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(scale) * one,
        wear_sigma=one / shape,
        install_log_rate=rate * one,
        install_shape=install_shape * one,
    )


def saved(left, following, others=NEVER, age=1.0, remaining=4.0):
    return net_of_later(
        [(1.0, left)],
        [(1.0, following)],
        others,
        age_years=np.array([age]),
        remaining_years=np.array([remaining]),
    )[0, 0]


def simulated(age, remaining, scheduled, n=60_000):
    """Renew discs one by one: wear of scale 6 and shape 3, installation 0.1 t^0.5, a schedule
    that takes discs at ages spread evenly from 3 to 6 years."""
    rng = np.random.default_rng(3)

    def lives(count, from_age):
        needed = rng.exponential(size=count) + (from_age / 6) ** 3 + 0.1 * from_age**0.5
        low, high = np.full(count, -30.0), np.full(count, 6.0)
        for _ in range(32):
            middle = (low + high) / 2
            short = np.exp(3 * (middle - np.log(6))) + 0.1 * np.exp(middle / 2) < needed
            low, high = np.where(short, middle, low), np.where(short, high, middle)
        return np.exp(low)

    def failures(from_age):
        count, left, start = np.zeros(n), np.full(n, remaining), np.full(n, from_age)
        running = np.arange(n)
        while running.size:
            begun = start[running]
            due = np.maximum(begun, 3.0)
            due = due + rng.random(running.size) * (6.0 - due) if scheduled else np.inf
            failing = lives(running.size, begun)
            left[running] -= np.minimum(failing, due) - begun
            count[running] += (failing < due) & (left[running] > 0)
            start[running] = 0.0
            running = running[left[running] > 0]
        return count

    new, old = failures(0.0), failures(age)
    return 1 + new.mean() - old.mean(), np.sqrt((new.var() + old.var()) / n)


@pytest.mark.parametrize(
    ("age", "remaining", "scheduled"), [(0.3, 4.0, True), (2.5, 9.0, True), (4.0, 25.0, False)]
)
def test_against_renewing_discs_one_by_one(age, remaining, scheduled):
    # Independent route: 60,000 positions each way, four standard errors and the grid's own.
    ages = np.r_[0.0, np.linspace(3.0, 5.99, 60)]
    schedule = OtherEndings(age=ages, cumulative_hazard=-np.log1p((3.0 - np.maximum(ages, 3)) / 3))
    expected, error = simulated(age, remaining, scheduled)
    one = law(rate=np.log(0.1))
    found = saved(one, one, schedule if scheduled else NEVER, age, remaining)

    assert found == pytest.approx(expected, abs=4 * error + 0.004)


def test_no_time_left_saves_the_failure_itself():
    assert saved(law(), law(), remaining=0.0) == 1.0


def test_a_disc_without_memory_is_as_good_as_a_new_one():
    # constant hazard: the old disc and the new one have the same future
    assert saved(law(shape=1.0), law(shape=1.0), age=3.0, remaining=30.0) == pytest.approx(1.0)


def test_discs_that_cannot_fail_save_it_whole():
    assert saved(law(scale=1e9), law(scale=1e9)) == pytest.approx(1.0)


def test_a_worn_disc_only_puts_the_failure_off():
    # In one year hardly any disc fails twice: 1 + F(1) - F(13 given 12) by hand.
    worn = -np.expm1((12**3 - 13**3) / 6**3)
    expected = 1 - np.expm1(-1 / 6**3) - worn
    assert saved(law(), law(), age=12.0, remaining=1.0) == pytest.approx(expected, abs=0.004)


def test_other_endings_are_read_off_the_lives():
    # Nelson-Aalen by hand: 1 of 4 at age 2, then 1 of 2 at age 3
    found = other_endings(
        [1.0, 2.0, 2.5, 3.0, 4.0],
        [False, True, False, True, False],
        entry_years=np.zeros(5),
        weight=np.ones(5),
    )
    assert found.age.tolist() == [0.0, 2.0, 3.0]
    np.testing.assert_allclose(np.exp(-found.cumulative_hazard), [1.0, 3 / 4, 3 / 4 * 1 / 2])


def test_the_last_discs_at_risk_may_all_go():
    found = other_endings([2.0, 2.0], [True, True], entry_years=[0, 0], weight=[1, 1])
    assert found.cumulative_hazard[-1] == 10.0
    assert other_endings([2.0], [False], entry_years=[0], weight=[1]).age.tolist() == [0.0]
