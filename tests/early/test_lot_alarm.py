import numpy as np
import pytest

from analytics.early.lot_alarm import FIRST_SHARE, GoodLots, chance_if_good, good_lots
from analytics.early.lot_evidence import LotLives, log_evidence
from analytics.survival.law import Family, LifeLaw

WATCHED = 6.0


def law(n, *, draws=1, install=-2.0):
    full = np.ones((draws, n))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(10.0) * full,
        wear_sigma=full[:, :1] / 3,
        install_log_rate=install * full,
        install_shape=0.5 * full[:, :1],
    )


def drawn(rng, lots, *, size=12, divided=1.0, install=-2.0):
    """Lots fitted together and watched for `WATCHED` years; lives by inverting the hazard."""
    need = rng.exponential(size=lots * size)
    low, high = np.zeros(need.size), np.full(need.size, 100.0)
    for _ in range(60):
        middle = (low + high) / 2
        short = np.exp(install) * middle**0.5 + (middle / 10) ** 3 < need
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    life = high / divided
    return LotLives(
        lot=np.repeat(np.arange(lots), size),
        events=(life < WATCHED).astype(float),
        entry_years=np.zeros(life.size),
        age_years=np.minimum(life, WATCHED),
        born_years=np.zeros(life.size),
    )


def chances(lives, times_law):
    n = lives.lot.size
    good = good_lots(lives, times_law, np.full(n, WATCHED), from_event=3, alarm_at=0.01, seed=3)
    return chance_if_good(*log_evidence(lives, law(n), from_event=3), good)


@pytest.mark.parametrize("install", [-4.0, -1.5])
def test_good_lots_reach_a_chance_as_often_as_it_says(install):
    # early failures rare and common; fresh good lots, not those that made the count
    rng = np.random.default_rng(11)
    lives = drawn(rng, 3000, install=install)
    good = good_lots(
        drawn(rng, 300, install=install),
        law(3600, install=install),
        np.full(3600, WATCHED),
        from_event=3,
        alarm_at=0.003,
    )
    first, later = log_evidence(lives, law(36_000, install=install), from_event=3)
    chance = chance_if_good(first, later, good)
    for level in (0.02, 0.05):
        assert 0.3 * level < (chance <= level).mean() < 1.25 * level


def test_bad_lots_stand_out():
    rng = np.random.default_rng(2)
    good, bad = drawn(rng, 60), drawn(rng, 1, divided=4.0)
    lives = LotLives(
        lot=np.r_[good.lot, bad.lot + 60],
        **{
            name: np.r_[getattr(good, name), getattr(bad, name)]
            for name in ("events", "entry_years", "age_years", "born_years")
        },
    )
    chance = chances(lives, law(lives.lot.size, draws=4))
    assert chance.argmin() == 60
    assert chance[60] < 1e-3


def test_a_lot_that_was_not_looked_at_has_chance_one():
    good = GoodLots(first=np.array([-np.inf, 0.0, 1.0]), later=np.full(3, -np.inf))
    assert chance_if_good(np.array([-np.inf]), np.array([-np.inf]), good).tolist() == [1.0]


def test_share_of_alarms_and_the_bound_beyond_the_count():
    good = GoodLots(first=np.arange(99.0), later=np.full(99, -np.inf))
    at = chance_if_good(np.array([90.0, 4.0]), np.full(2, -np.inf), good)
    assert at[0] == pytest.approx(np.exp(-90.0) / FIRST_SHARE)
    assert at[1] == pytest.approx(np.exp(-4.0) / FIRST_SHARE)
    # against evidence that good lots seldom show the count is what tells, the lot itself as one
    seldom = GoodLots(first=np.linspace(-5.0, 3.0, 99), later=good.later)
    counted = chance_if_good(np.array([2.95]), np.array([-np.inf]), seldom)
    assert counted[0] == pytest.approx(2 / 100 / FIRST_SHARE)


def test_lives_again_keep_their_entry_and_never_pass_their_watch():
    from analytics.early.lot_alarm import _lived_again

    rng = np.random.default_rng(1)
    lives = LotLives(
        lot=np.zeros(5000, dtype=int),
        events=np.zeros(5000),
        entry_years=np.full(5000, 2.0),
        age_years=np.full(5000, 5.0),
        born_years=np.zeros(5000),
    )
    again = _lived_again(lives, law(5000), np.full(5000, 5.0), rng)
    assert again.age_years.min() >= 2.0
    assert again.age_years.max() <= 5.0
    # 1 - S(5) / S(2) of H(t) = e^-2 t^0.5 + (t/10)^3
    added = np.exp(-2.0) * (5**0.5 - 2**0.5) + 0.125 - 0.008
    assert again.events.mean() == pytest.approx(-np.expm1(-added), abs=0.02)
