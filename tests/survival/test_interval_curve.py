"""Nonparametric survival from interval data."""

import numpy as np
import pandas as pd
import pytest

from analytics.errors import NotEstimable
from analytics.survival.curve_readings import step_at
from analytics.survival.curves import kaplan_meier, nelson_aalen
from analytics.survival.interval_curve import interval_curve, interval_survival_at
from analytics.survival.lifetimes import lifetimes
from datasets.reference import path


def mixed(seed, n=40, late=False):
    """Lives seen at irregular looks, some exactly, some from a later age on."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.4, rng.integers(1, 3, n), 0.0) if late else np.zeros(n)
    life = entry + rng.integers(1, 12, n)
    lower = np.maximum(entry, life - rng.integers(1, 5, n)).astype(float)
    upper = (life + rng.integers(0, 3, n)).astype(float)
    exact = rng.random(n) < 0.2
    lower[exact] = upper[exact] = life[exact]
    upper[rng.random(n) < 0.25] = np.inf
    return lifetimes(lower, upper, entry=entry)


def expectation_maximisation(data, rounds):
    """Independent route without delayed entry: self-consistency on every distinct gap."""
    edges = np.unique(np.concatenate([data.lower, data.upper[data.ended]]))
    # Cells: each edge itself and each open stretch between edges, and beyond the last.
    point = [(e, e) for e in edges]
    open_ = list(zip(edges[:-1], edges[1:], strict=True)) + [(edges[-1], np.inf)]
    cells = point + open_
    inside = np.array(
        [
            [
                (lo == hi == a == b) if lo == hi
                else (lo < a and b <= hi) if a == b
                else (lo <= a and b <= hi)
                for a, b in cells
            ]
            for lo, hi in zip(data.lower, data.upper, strict=True)
        ]
    )  # fmt: skip
    mass = np.full(len(cells), 1 / len(cells))
    for _ in range(rounds):
        shared = inside * mass
        mass = (data.weight / shared.sum(axis=1)) @ shared / data.weight.sum()
    return float(data.weight @ np.log((inside * mass).sum(axis=1)))


def test_turbine_cracks_at_eight_inspections():
    # Nelson (1982), Meeker & Escobar (1998), R survival `cracks`: F = cumulative count / 167,
    # 7 digits.
    table = pd.read_csv(path("survival_cracks"))
    days, count = table["days"].to_numpy(float), table["fail"].to_numpy(float)
    data = lifetimes(
        np.append(np.append(0, days[:-1]), days[-1]),
        np.append(days, np.inf),
        weight=np.append(count, 167 - count.sum()),
    )
    curve = interval_curve(data)

    assert curve.right.tolist() == days.tolist()
    assert 1 - curve.survival == pytest.approx(
        [0.0299401, 0.1257485, 0.1976048, 0.3053892, 0.4131737, 0.4251497, 0.4610778, 0.5628743],
        abs=5e-8,
    )


def test_exact_and_running_units_give_kaplan_meier():
    # Limiting case, ties and delayed entry included.
    table = pd.read_csv(path("kmsurv_channing"))
    table = table[(table["age"] > table["ageentry"]) & (table["gender"] == 2)]
    failed = table["death"].to_numpy() == 1
    curve = interval_curve(
        lifetimes(table["age"], np.where(failed, table["age"], np.inf), entry=table["ageentry"])
    )
    survival = kaplan_meier(table["age"], failed, entry=table["ageentry"])

    assert curve.left.tolist() == curve.right.tolist() == survival.age.tolist()
    assert curve.survival == pytest.approx(survival.survival, rel=1e-12)
    assert curve.warning == ""


def test_collapsed_risk_set_is_named():
    # KMsurv channing, men: one of one dies at 781 months (R 4.2.2 survfit: S is 0 from there).
    table = pd.read_csv(path("kmsurv_channing"))
    table = table[(table["age"] > table["ageentry"]) & (table["gender"] == 1)]
    failed = table["death"].to_numpy() == 1
    curve = interval_curve(
        lifetimes(table["age"], np.where(failed, table["age"], np.inf), entry=table["ageentry"])
    )
    hazard = nelson_aalen(table["age"], failed, entry=table["ageentry"])

    assert "by age 781 all units" in curve.warning
    behind = curve.right > 781
    counted = hazard.age > 781
    expected = -np.log1p(-hazard.events[counted] / hazard.at_risk[counted])
    assert curve.hazard[behind] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_reaches_the_likelihood_that_expectation_maximisation_climbs_to(seed):
    data = mixed(seed)
    curve = interval_curve(data)

    climbed = expectation_maximisation(data, 3000)
    assert curve.log_likelihood >= climbed - 1e-9
    assert curve.log_likelihood == pytest.approx(climbed, abs=1e-3)


@pytest.mark.parametrize("seed", range(6))
def test_no_neighbour_is_likelier_with_delayed_entry(seed):
    # Independent route: the log-likelihood written out, every hazard moved up and down, and
    # new falls tried between the gaps.
    data = mixed(seed, late=True)
    curve = interval_curve(data)
    finite = np.isfinite(curve.hazard)

    def log_likelihood(right, hazard):
        def total(a, b, closed_left):
            inside = ((right >= a) if closed_left else (right > a)) & (right <= b)
            return hazard[inside].sum()

        value = 0.0
        for lo, hi, entry in zip(data.lower, data.upper, data.entry, strict=True):
            start = entry if entry > 0 else -1.0
            value -= total(start, np.nextafter(lo, -1) if lo == hi else lo, False)
            if np.isfinite(hi):
                value += np.log(-np.expm1(-total(lo, hi, lo == hi)))
        return value

    if not finite.all():  # the last gap takes the rest
        assert np.flatnonzero(~finite)[-1] == finite.size - 1
    hazard = np.where(finite, curve.hazard, 60.0)
    best = log_likelihood(curve.right, hazard)
    assert best == pytest.approx(curve.log_likelihood, abs=1e-9)
    for j in np.flatnonzero(finite):
        for factor in (0.99, 1.01):
            moved = hazard.copy()
            moved[j] *= factor
            assert log_likelihood(curve.right, moved) < best + 1e-12
    for age in np.unique(np.concatenate([data.lower, data.upper[data.ended]])):
        for place in (age, age - 0.5):
            right = np.append(curve.right, place)
            assert log_likelihood(right, np.append(hazard, 1e-6)) < best + 1e-11


def test_units_seen_once_each_by_two_routes():
    # Isotonic regression against the general search on the same lives.
    rng = np.random.default_rng(3)
    age = rng.integers(1, 15, 120).astype(float)
    ended = rng.random(120) < 1 - np.exp(-((age / 9) ** 1.5))
    data = lifetimes(np.where(ended, 0, age), np.where(ended, age, np.inf))
    once = interval_curve(data)
    # One more life that is exactly known but carries no weight sends the search the other way.
    general = interval_curve(
        lifetimes(
            np.append(data.lower, 3.0),
            np.append(data.upper, 3.0),
            weight=np.append(np.ones(120), 0),
        )
    )

    assert general.right == pytest.approx(once.right)
    assert general.survival == pytest.approx(once.survival, abs=1e-8)
    assert once.log_likelihood == pytest.approx(general.log_likelihood, abs=1e-9)


def test_units_seen_once_many_times_over():
    rng = np.random.default_rng(4)
    age = rng.uniform(0.1, 10, 200_000)
    ended = rng.exponential(5, age.size) < age
    curve = interval_curve(lifetimes(np.where(ended, 0, age), np.where(ended, age, np.inf)))

    low, high = interval_survival_at(curve, np.array([2.0, 5.0]))
    assert (low + high) / 2 == pytest.approx(np.exp([-0.4, -1.0]), abs=0.02)


def test_survival_within_a_gap_is_a_range():
    curve = interval_curve(lifetimes([0.0, 1, 2, 3, 3], [1.0, 3, 2, np.inf, 3]))
    low, high = interval_survival_at(curve, np.array([0.0, 0.5, 1.0, 2.0, 3.0]))

    assert np.all(low <= high)
    assert low[1] < high[1] == 1.0
    assert low[2:] == pytest.approx(high[2:])
    assert low[3] == pytest.approx(step_at(curve.right, curve.survival, 2.0, before=1.0))


def test_nothing_ended_gives_no_gaps():
    curve = interval_curve(lifetimes([3.0, 4.0], [np.inf, np.inf], entry=[1.0, 0.0]))

    assert curve.right.size == 0
    assert curve.log_likelihood == 0.0


def test_everything_ended_falls_to_nought():
    curve = interval_curve(lifetimes([1.0, 2.0], [2.0, 4.0]))

    assert curve.survival[-1] == 0.0
    assert curve.warning == ""
    assert curve.log_likelihood == pytest.approx(2 * np.log(0.5))


def test_rows_of_no_weight_change_nothing():
    data = mixed(1)
    more = lifetimes(
        np.append(data.lower, [0.5, 4.0]),
        np.append(data.upper, [9.5, np.inf]),
        weight=np.append(data.weight, [0.0, 0.0]),
    )

    assert interval_curve(more).log_likelihood == pytest.approx(
        interval_curve(data).log_likelihood, abs=1e-9
    )


def test_unit_of_time_does_not_matter():
    data = mixed(2, late=True)
    for unit in (1e-9, 1e12):
        scaled = lifetimes(data.lower * unit, data.upper * unit, entry=data.entry * unit)
        assert interval_curve(scaled).survival == pytest.approx(
            interval_curve(data).survival, abs=1e-9
        )


def test_reading_beyond_the_last_look_is_refused():
    curve = interval_curve(mixed(1))
    with pytest.raises(NotEstimable, match="covers ages 0 to"):
        interval_survival_at(curve, np.array([99.0]))


def test_thousands_of_overlapping_intervals_among_exact_lives():
    # A simulated fleet, half its lives known to the day, others between looks half a year apart.
    rng = np.random.default_rng(0)
    life, entry = 8 * rng.weibull(2, 8000), np.where(rng.random(8000) < 0.3, 1.5, 0.0)
    seen = life > entry + 0.01
    life, entry = life[seen], entry[seen]
    look = np.floor(life * 2) / 2
    exact = rng.random(life.size) < 0.5
    lower = np.where(exact, life, np.maximum(entry, look))
    upper = np.where(exact, life, look + 0.5)
    curve = interval_curve(lifetimes(lower, upper, entry=entry))

    ages = np.array([2.0, 4.0, 8.0])
    low, high = interval_survival_at(curve, ages)
    assert (low + high) / 2 == pytest.approx(np.exp(-((ages / 8) ** 2)), abs=0.02)
