from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from analytics.early.lot_evidence import SHORTENED, LotLives, evidence_at_failures
from analytics.errors import InputError
from analytics.survival.law import Family, LifeLaw


def weibull(n, scales=(10.0,), install=-np.inf):
    """Wear of shape 3, one draw per scale."""
    one = np.ones((len(scales), n))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(scales)[:, None] * one,
        wear_sigma=one[:, :1] / 3,
        install_log_rate=install * one,
        install_shape=0.5 * one[:, :1],
    )


def lot_lives(lot, events, age, *, entry=0.0, born=0.0):
    n = len(age)
    return LotLives(
        lot=np.array(lot, dtype=int),
        events=np.array(events, float),
        entry_years=np.full(n, entry),
        age_years=np.array(age, float),
        born_years=np.full(n, born),
    )


def first_and_later(lives, law, *, from_event=1, in_the_fit=False, factors=SHORTENED):
    """Evidence at each lot's first look, and the most at any later one; -inf where none."""
    seen = evidence_at_failures(
        lives, law, from_event=from_event, in_the_fit=in_the_fit, factors=factors
    )
    first, later = np.full((2, lives.lot.max(initial=-1) + 1), -np.inf)
    first[seen.lot[seen.is_first]] = seen.log_ratio[seen.is_first]
    np.maximum.at(later, seen.lot[~seen.is_first], seen.log_ratio[~seen.is_first])
    return first, later


def evidence(lot, events, age, *, entry=0.0, born=0.0, **how):
    lives = lot_lives(lot, events, age, entry=entry, born=born)
    return first_and_later(lives, weibull(len(age)), **how)


def by_hand(failed_at, ages_then, factors=SHORTENED):
    """Weibull of shape 3: hazard ratio c^3, added cumulative hazard (c^3 - 1) (t/10)^3."""
    total = sum((t / 10) ** 3 for t in ages_then)
    return np.log(np.mean([c ** (3 * failed_at) * np.exp(-(c**3 - 1) * total) for c in factors]))


def test_at_each_failure_against_the_weibull_ratio_by_hand():
    # fitted together; failures at ages 2 and 2.5, survivors then as old, one ended at 1
    first, later = evidence([0] * 4, [1, 1, 0, 0], [2.0, 2.5, 1.0, 3.0])
    assert first[0] == pytest.approx(by_hand(1, [2.0, 2.0, 1.0, 2.0]))
    assert later[0] == pytest.approx(by_hand(2, [2.0, 2.5, 1.0, 2.5]))


def test_evidence_waits_for_the_failure_it_starts_from():
    first, later = evidence([0] * 4, [1, 1, 0, 0], [2.0, 2.5, 1.0, 3.0], from_event=2)
    assert first[0] == pytest.approx(by_hand(2, [2.0, 2.5, 1.0, 2.5]))
    assert later[0] == -np.inf


def test_lots_do_not_mix_and_one_without_failures_has_no_evidence():
    alone, _ = evidence([0] * 3, [1, 1, 0], [2.0, 2.5, 3.0])
    first, later = evidence([1, 0, 1, 0, 1], [1, 0, 1, 0, 0], [2.0, 5.0, 2.5, 4.0, 3.0])
    assert first.tolist() == [-np.inf, pytest.approx(alone[0])]
    assert later[0] == -np.inf


def test_survivors_speak_for_their_lot():
    few, _ = evidence([0] * 3, [1, 1, 1], [2.0, 2.1, 2.2], from_event=3)
    among_many, _ = evidence(
        [0] * 9, [1, 1, 1] + [0] * 6, [2.0, 2.1, 2.2] + [5.0] * 6, from_event=3
    )
    assert among_many[0] < few[0]


def test_late_failures_are_no_evidence():
    first, later = evidence([0] * 3, [1, 1, 1], [9.0, 11.0, 10.0])
    assert max(first[0], later[0]) < 0


def test_time_before_entry_is_not_charged():
    _, from_new = evidence([0] * 2, [1, 1], [2.0, 3.0])
    _, seen_late = evidence([0] * 2, [1, 1], [2.0, 3.0], entry=1.9)
    assert seen_late[0] > from_new[0]


def test_a_disc_fitted_after_the_failure_has_no_part_in_it():
    lives = LotLives(
        lot=np.zeros(2, dtype=int),
        events=np.array([1.0, 0.0]),
        entry_years=np.zeros(2),
        age_years=np.array([2.0, 4.0]),
        born_years=np.array([0.0, 3.0]),
    )
    first, _ = first_and_later(lives, weibull(2))
    assert first[0] == pytest.approx(by_hand(1, [2.0]))


def test_parts_of_failures_add_up_to_the_third():
    # 0.5 + 1 + 1 + 1: the third is reached with the fourth ending
    first, later = evidence([0] * 4, [0.5, 1, 1, 1], [1.0, 2.0, 3.0, 4.0], from_event=3)
    assert first[0] == pytest.approx(by_hand(3.5, [1.0, 2.0, 3.0, 4.0]))
    assert later[0] == -np.inf


def test_an_age_of_zero_counts_as_a_day():
    first, _ = evidence([0], [1], [0.0])
    assert np.isfinite(first[0])


def test_no_lives_at_all():
    law = replace(weibull(0), wear_sigma=np.ones((1, 1)), install_shape=np.ones((1, 1)))
    assert first_and_later(lot_lives([], [], []), law)[0].size == 0


def test_a_good_lot_passes_x_at_most_once_in_x():
    # Ville: 1000 good lots of 12 watched to the end, the most evidence at any failure
    rng = np.random.default_rng(5)
    life = 10 * rng.weibull(3.0, 12_000)
    lot = np.repeat(np.arange(1000), 12)
    first, later = evidence(lot, np.ones(12_000), life, from_event=3)
    passed = np.maximum(first, later) > np.log(20)
    assert 0 < passed.mean() <= 0.05


def likelihood(factor, scale, install, failed, ages):
    """By the formula of the module, hazards written out."""
    t, at = factor * np.array(ages), factor * np.array(failed)
    rate = 0.5 * np.exp(install) / at**0.5 + 3 * at**2 / scale**3
    return np.prod(factor * rate) * np.exp(-(np.exp(install) * t**0.5 + (t / scale) ** 3).sum())


def test_what_is_not_known_of_the_law_is_averaged_over():
    scales, install, failed, ages = (7.0, 12.0), -1.0, [2.0, 2.5], [2.0, 2.5, 1.0, 2.5]
    lives = lot_lives([0] * 4, [1, 1, 0, 0], [2.0, 2.5, 1.0, 3.0])
    law = weibull(4, scales, install)
    bad = [[likelihood(c, s, install, failed, ages) for c in SHORTENED] for s in scales]
    good = [likelihood(1.0, s, install, failed, ages) for s in scales]
    apart, _ = first_and_later(lives, law, from_event=2)
    assert apart[0] == pytest.approx(np.log(np.mean(bad) / np.mean(good)))
    within, _ = first_and_later(lives, law, from_event=2, in_the_fit=True)
    assert within[0] == pytest.approx(np.log(np.mean(np.mean(bad, axis=1) / good)))


def test_a_lot_in_the_fit_is_not_excused_by_what_it_did_to_the_draws():
    # two draws equally likely without the lot; the lot, as a good one, is exactly three times
    # as likely by the first: with it in the fit the first is drawn three times for each second
    ages = [2.0, 6.0, 7.0]

    def surplus(scale):
        return likelihood(1, 10.0, -9.0, [2.0], ages) - 3 * likelihood(1, scale, -9.0, [2.0], ages)

    other = brentq(surplus, 1.0, 8.0)
    lives = replace(
        lot_lives([0] * 3, [1, 0, 0], ages), born_years=np.array([5.0, 1.0, 0.0])
    )  # all ended on the same day
    apart, _ = first_and_later(lives, weibull(3, (10.0, other), -9.0))
    drawn = weibull(3, (10.0, 10.0, 10.0, other), -9.0)
    within, _ = first_and_later(lives, drawn, in_the_fit=True)
    assert within[0] == pytest.approx(apart[0])
    excused, _ = first_and_later(lives, drawn)
    assert abs(excused[0] - apart[0]) > 0.01


def test_another_wear_than_weibull_is_refused():
    law = replace(weibull(1), family=Family.LOGNORMAL)
    with pytest.raises(InputError, match="needs Weibull wear, got lognormal"):
        first_and_later(lot_lives([0], [1], [1.0]), law)
