"""Cumulative incidence of competing endings."""

import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.survival.curve_readings import step_at
from analytics.survival.curves import kaplan_meier
from analytics.survival.incidence import cumulative_incidence
from datasets.reference import path


def mgus(sex=None):
    table = pd.read_csv(path("survival_mgus2"))
    if sex:
        table = table[table["sex"] == sex]
    progressed = table["pstat"] == 1
    months = np.where(progressed, table["ptime"], table["futime"])
    return months, np.where(progressed, 1, 2 * table["death"])


def at(curves, values, cause, months):
    return step_at(curves.age, values[cause - 1], months, before=0.0)


def test_plasma_cell_malignancy_against_death():
    # R 4.2.2 survfit (survival 3.5-3) on mgus2 (Kyle 1993, 2002); the incidence also
    # cmprsk 2.2-11, 1e-7. lifelines jitters ties and gives 0.06382 at 120 months.
    months, cause = mgus()
    curves = cumulative_incidence(months, cause)

    assert np.bincount(cause.astype(int)).tolist() == [409, 115, 860]
    assert at(curves, curves.incidence, 1, [60, 120, 240, 360]) == pytest.approx(
        [0.0341037130, 0.0637221680, 0.0998137159, 0.1340416443], abs=1e-7
    )
    assert at(curves, curves.incidence, 2, [60, 120, 240, 360]) == pytest.approx(
        [0.3203670, 0.5318177, 0.7240280, 0.7842082], abs=1e-7
    )
    assert at(curves, curves.std_error, 1, [60, 120, 240]) == pytest.approx(
        [0.0048892579, 0.0067968484, 0.0097848468], rel=1e-6
    )


def test_one_minus_kaplan_meier_is_the_wrong_answer():
    # R 4.2.2: naive 1 - KM for progression 0.0952217 at 120, 0.2095616 at 240 months.
    months, cause = mgus()
    naive = kaplan_meier(months, cause == 1)

    wrong = 1 - step_at(naive.age, naive.survival, [120, 240], before=1.0)
    assert wrong == pytest.approx([0.0952217, 0.2095616], abs=1e-7)


@pytest.mark.parametrize(
    ("sex", "progression", "death"),
    [
        # R 4.2.2 survfit on mgus2 by sex, at 120 and 240 months, 7 digits.
        ("F", [0.0738857, 0.1049407], [0.4804900, 0.6953078]),
        ("M", [0.0553102, 0.0956508], [0.5751785, 0.7481279]),
    ],
)
def test_by_sex(sex, progression, death):
    curves = cumulative_incidence(*mgus(sex))

    assert at(curves, curves.incidence, 1, [120, 240]) == pytest.approx(progression, abs=1e-6)
    assert at(curves, curves.incidence, 2, [120, 240]) == pytest.approx(death, abs=1e-6)


def test_single_cause_is_one_minus_kaplan_meier_with_greenwood_error():
    # Limiting case: without a competitor the two estimators and their variances agree.
    rng = np.random.default_rng(5)
    age, failed = rng.integers(1, 15, 80).astype(float), rng.random(80) < 0.6
    entry = np.where(rng.random(80) < 0.3, 0.5, 0.0)
    curves = cumulative_incidence(age, failed, entry=entry)
    survival = kaplan_meier(age, failed, entry=entry)

    alive = survival.survival > 0
    assert curves.incidence[0] == pytest.approx(1 - survival.survival, abs=1e-12)
    assert curves.std_error[0][alive] == pytest.approx(survival.std_error[alive], abs=1e-12)


def test_standard_error_is_the_infinitesimal_jackknife():
    # Independent route: numerical influence of each unit's weight on the incidence.
    rng = np.random.default_rng(6)
    age, cause = rng.integers(1, 8, 30).astype(float), rng.integers(0, 3, 30)
    curves = cumulative_incidence(age, cause)

    step = 1e-5
    influence = np.empty((30, *curves.incidence.shape))
    for unit in range(30):
        moved = [
            cumulative_incidence(age, cause, weight=1 + sign * step * (np.arange(30) == unit))
            for sign in (1, -1)
        ]
        influence[unit] = (moved[0].incidence - moved[1].incidence) / (2 * step)
    jackknife = np.sqrt((influence**2).sum(axis=0))
    assert curves.std_error == pytest.approx(jackknife, abs=1e-7)


def test_incidences_and_survival_of_all_add_up():
    months, cause = mgus()
    curves = cumulative_incidence(months, cause)
    survival = kaplan_meier(months, cause > 0)

    assert curves.incidence.sum(axis=0) == pytest.approx(1 - survival.survival, abs=1e-12)
    assert np.all(curves.low <= curves.incidence + 1e-15)
    assert np.all(curves.incidence <= curves.high + 1e-15)


def test_cause_not_seen_yet_still_has_an_upper_limit():
    curves = cumulative_incidence(np.arange(1.0, 21), np.where(np.arange(20) < 10, 2, 0))

    # Eleven still at risk before the tenth ending, none by cause 1: 1 - 0.025^(1/11).
    assert curves.incidence[0, 9] == 0
    assert curves.high[0, 9] == pytest.approx(1 - 0.025 ** (1 / 11))


def test_fractional_cause_is_refused():
    with pytest.raises(InputError, match="cause must be a whole number"):
        cumulative_incidence([1.0, 2.0], [1.5, 0])
    with pytest.raises(InputError, match="confidence"):
        cumulative_incidence([1.0], [1], confidence=0)


def test_an_error_beyond_measure_leaves_nought_and_one():
    # A hair of weight ends by cause 2 and the last life by cause 1: F_1 near 1, hardly known.
    curves = cumulative_incidence([1.0, 2, 2], [2, 1, 0], weight=[1e-9, 1, 1e-9])

    assert np.all((curves.low >= 0) & (curves.high <= 1))
    assert np.all(np.isfinite(curves.std_error))
