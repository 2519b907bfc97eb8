import numpy as np
import pytest

from analytics.early.lot_alarm import (
    FIRST_SHARE,
    BadLots,
    _divided,
    _lived,
    _reached,
    bad_lots,
    chance_if_good,
)
from analytics.early.lot_evidence import Evidence, LotLives, evidence_at_failures
from analytics.survival.law import Family, LifeLaw, cumulative_hazard

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


def chances(lives, its_law, bad=None):
    if bad is None:
        bad = bad_lots(lives, its_law, np.full(lives.lot.size, WATCHED), from_event=3, seed=3)
    seen = evidence_at_failures(lives, its_law, from_event=3, in_the_fit=False)
    return chance_if_good(seen, bad, lives.lot.max() + 1)


@pytest.mark.parametrize("install", [-4.0, -1.5])
def test_good_lots_reach_a_chance_as_often_as_it_says(install):
    # early failures rare and common; the chance is counted on bad lots, these are good
    rng = np.random.default_rng(11)
    lives, few = drawn(rng, 6000, install=install), drawn(rng, 300, install=install)
    until = np.full(few.lot.size, WATCHED)
    bad = bad_lots(few, law(until.size, install=install), until, from_event=3)
    chance = chances(lives, law(lives.lot.size, install=install), bad)
    for level in (0.005, 0.02, 0.05):
        error = np.sqrt(level / 6000)
        assert 0.3 * level < (chance <= level).mean() < 1.1 * level + 3 * error


def test_the_first_look_and_the_later_ones_are_each_counted_right():
    # against good lots lived one by one, a route that weighs nothing
    rng = np.random.default_rng(7)
    good = drawn(rng, 20_000, install=-2.0)
    until = np.full(good.lot.size, WATCHED)
    bad = bad_lots(good, law(until.size), until, from_event=3)
    seen = evidence_at_failures(good, law(until.size), from_event=3, in_the_fit=False)
    for first in (True, False):
        log_ratio, lot = seen.log_ratio[seen.is_first == first], seen.lot[seen.is_first == first]
        for level in (-1.0, 0.0, 1.0):
            reached = np.unique(lot[log_ratio >= level]).size
            counted = 20_000 * _reached(np.array([level]), bad, first)[0]
            assert abs(counted - reached) < 4 * np.sqrt(counted) + 0.15 * counted


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


def looks(lot, is_first, ratio):
    return Evidence(
        lot=np.array(lot), is_first=np.array(is_first), log_ratio=np.log(np.array(ratio, float))
    )


def test_a_lot_that_was_not_looked_at_has_chance_one():
    bad = BadLots(n_lots=2, evidence=looks([0], [True], [50.0]))
    assert chance_if_good(looks([1], [True], [40.0]), bad, 3).tolist() == [
        1.0,
        pytest.approx((1 / 50 + 1 / 40) / 3 / FIRST_SHARE),
        1.0,
    ]


def test_bad_lots_weigh_by_one_over_their_evidence_where_they_stop():
    # four bad lots; the third looked at once, the fourth never; later looks rise and fall
    bad = BadLots(
        n_lots=4,
        evidence=looks(
            [0, 0, 0, 0, 1, 1, 2], [True, False, False, False, True, False, True],
            [2, 3, 10, 20, 8, 5, 16],
        ),
    )  # fmt: skip
    # the lot in question is the fifth
    at_first = _reached(np.log([1.5, 5.0, 10.0, 30.0]), bad, True)
    sums = [1 / 2 + 1 / 8 + 1 / 16 + 1 / 1.5, 1 / 8 + 1 / 16 + 1 / 5, 1 / 16 + 1 / 10, 1 / 30]
    assert at_first == pytest.approx(np.array(sums) / 5)
    # level 4: the first stops at 10, not at 20; level 2: it stops at 3
    later = _reached(np.log([4.0, 2.0, 12.0]), bad, False)
    sums = [1 / 10 + 1 / 5 + 1 / 4, 1 / 3 + 1 / 5 + 1 / 2, 1 / 20 + 1 / 12]
    assert later == pytest.approx(np.array(sums) / 5)


def test_never_above_the_bound_that_holds_however_often_one_looks():
    bad = BadLots(n_lots=1, evidence=looks([0, 0], [True, False], [0.5, 0.2]))
    assert _reached(np.log([0.4, 3.0]), bad, True) == pytest.approx([1.0, 1 / 6])
    assert _reached(np.log([1e6]), bad, False)[0] <= 1e-6


def test_divided_lives_are_lives_of_the_divided_law():
    factor = np.array([2.0, 4.0])
    divided = cumulative_hazard(_divided(law(2), factor), np.array([1.0, 1.5]))
    assert divided[0] == pytest.approx(cumulative_hazard(law(2), np.array([2.0, 6.0]))[0])


def test_lives_again_keep_their_entry_and_never_pass_their_watch():
    rng = np.random.default_rng(1)
    lives = LotLives(
        lot=np.zeros(5000, dtype=int),
        events=np.zeros(5000),
        entry_years=np.full(5000, 2.0),
        age_years=np.full(5000, 5.0),
        born_years=np.zeros(5000),
    )
    again = _lived(lives, law(5000), rng)
    assert again.age_years.min() >= 2.0
    assert again.age_years.max() <= 5.0
    # 1 - S(5) / S(2) of H(t) = e^-2 t^0.5 + (t/10)^3
    added = np.exp(-2.0) * (5**0.5 - 2**0.5) + 0.125 - 0.008
    assert again.events.mean() == pytest.approx(-np.expm1(-added), abs=0.02)


def test_every_lot_is_lived_as_often_as_any_other():
    few = drawn(np.random.default_rng(0), 7)
    bad = bad_lots(few, law(84), np.full(84, 1e6), from_event=1)
    # watched for ever, every disc fails: each lived lot opens with a first look
    assert bad.evidence.is_first.sum() == bad.n_lots
    assert np.unique(bad.evidence.lot).size == bad.n_lots
