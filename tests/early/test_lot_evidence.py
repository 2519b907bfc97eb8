import numpy as np
import pandas as pd
import pytest

from analytics.early.lot_evidence import SHORTENED, shorter_lives
from analytics.survival.law import Family, LifeLaw


def weibull(n, shape=3.0, scale=10.0):
    one = np.ones((1, n))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.log(scale) * one,
        wear_sigma=one[:, :1] / shape,
        install_log_rate=-np.inf * one,
        install_shape=0.5 * one[:, :1],
    )


def evidence(lot, events, age, entry=0.0, **law):
    n = len(age)
    return shorter_lives(
        pd.Series(lot),
        np.array(events, float),
        weibull(n, **law),
        entry_years=np.full(n, entry),
        age_years=np.array(age, float),
    )


def test_against_the_weibull_ratio_by_hand():
    # life cut by c: h ratio c^3, added cumulative hazard (c^3 - 1) (t/10)^3
    lot, events, age = ["B"] * 4, [1, 1, 0, 0], [2.0, 2.5, 1.0, 3.0]
    total = sum((t / 10) ** 3 for t in age)
    ratios = [(c**3) ** 2 * np.exp(-(c**3 - 1) * total) for c in SHORTENED]
    assert evidence(lot, events, age)["B"] == pytest.approx(1 / np.mean(ratios))


def test_late_failures_are_no_evidence():
    assert evidence(["A"] * 3, [1, 1, 1], [9.0, 11.0, 10.0])["A"] == 1.0


def test_time_before_entry_is_not_charged():
    seen_from_new = evidence(["A"] * 2, [1, 1], [2.0, 3.0])["A"]
    seen_late = evidence(["A"] * 2, [1, 1], [2.0, 3.0], entry=1.9)["A"]
    assert seen_late < seen_from_new


def test_an_age_of_zero_counts_as_a_day():
    assert np.isfinite(evidence(["A"], [1], [0.0])["A"])


def test_lots_without_a_name_are_left_out():
    assert list(evidence(["A", None], [1, 1], [1.0, 1.0]).index) == ["A"]


def test_at_any_look_the_false_alarms_stay_below_what_is_stated():
    # 1000 good lots of 12, looked at after every failure until 10 years: Ville's inequality
    rng = np.random.default_rng(5)
    alarms, lots = 0, 1000
    for _ in range(lots):
        life = 10 * rng.weibull(3.0, 12)
        looks = np.sort(life[life < 10])[2:]
        worst = 1.0
        for now in looks:
            age = np.minimum(life, now)
            worst = min(worst, evidence(["A"] * 12, life <= now, age)["A"])
        alarms += worst <= 0.05
    assert 0 < alarms / lots <= 0.05
