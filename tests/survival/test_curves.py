"""Kaplan-Meier, Nelson-Aalen and what is read off them."""

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter
from scipy.stats import norm

from analytics.errors import InputError, NotEstimable
from analytics.survival.curve_readings import (
    life_quantile,
    limits_at,
    restricted_mean,
    step_at,
    survival_at,
)
from analytics.survival.curves import kaplan_meier, nelson_aalen, survival_frame
from datasets.reference import path

# NIST/SEMATECH e-Handbook 8.2.2.1: 10 failures, 10 units running at 500 h.
NIST_AGE = np.array([54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10)
NIST_FAILED = NIST_AGE < 500


def at(curve, name, ages):
    return step_at(curve.age, getattr(curve, name), ages, before=np.nan)


def channing(gender):
    table = pd.read_csv(path("kmsurv_channing"))
    table = table[(table["age"] > table["ageentry"]) & (table["gender"] == gender)]
    return table["age"], table["death"] == 1, table["ageentry"]


def test_nist_kaplan_meier_and_its_limits():
    # R 4.2.2 survfit (survival 3.5-3) on the NIST data, 7 digits, conf.type "log-log".
    curve = kaplan_meier(NIST_AGE, NIST_FAILED)

    assert at(curve, "survival", [54, 240, 386]) == pytest.approx([0.95, 0.80, 0.50], abs=1e-12)
    assert at(curve, "std_error", [240, 386]) == pytest.approx([0.0894427, 0.1118034], abs=5e-8)
    assert at(curve, "low", [240, 386]) == pytest.approx([0.5511456, 0.2713278], abs=5e-8)
    assert at(curve, "high", [240, 386]) == pytest.approx([0.9198179, 0.6918925], abs=5e-8)


def test_nist_nelson_aalen():
    # R 4.2.2 survfit, Aalen variance, 7 digits.
    curve = nelson_aalen(NIST_AGE, NIST_FAILED)

    assert at(curve, "cumulative_hazard", [240, 386]) == pytest.approx(
        [0.2170107, 0.6687714], abs=5e-8
    )
    assert at(curve, "std_error", [240, 386]) == pytest.approx([0.1087047, 0.2153962], abs=5e-8)


def test_generator_fans_with_heavy_censoring():
    # R 4.2.2 survfit on genfan (Nelson 1982 p. 133), 7 digits. lifelines would spread the
    # ties and give H(3100) = 0.1361464.
    table = pd.read_csv(path("survival_genfan"))
    survival = kaplan_meier(table["hours"], table["status"] == 1)
    hazard = nelson_aalen(table["hours"], table["status"] == 1)

    ages = [450, 1150, 2070, 3100, 8750]
    assert at(survival, "survival", ages) == pytest.approx(
        [0.9857143, 0.9567227, 0.9077492, 0.8716724, 0.7070378], abs=5e-8
    )
    assert at(survival, "std_error", ages) == pytest.approx(
        [0.0141833, 0.0244418, 0.0360728, 0.0427434, 0.0980420], abs=5e-8
    )
    assert at(survival, "low", [3100, 8750]) == pytest.approx([0.7584249, 0.4680116], abs=5e-8)
    assert at(survival, "high", [3100, 8750]) == pytest.approx([0.9340580, 0.8536053], abs=5e-8)
    assert at(hazard, "cumulative_hazard", [1150, 3100, 8750]) == pytest.approx(
        [0.0436975, 0.1355903, 0.3367969], abs=5e-8
    )
    assert at(hazard, "std_error", [1150, 3100, 8750]) == pytest.approx(
        [0.0252311, 0.0484060, 0.1323895], abs=5e-8
    )


def test_delayed_entry_women():
    # R 4.2.2 survfit with entry on KMsurv channing (Hyde 1980), women, 7 digits.
    age, failed, entry = channing(2)
    survival = kaplan_meier(age, failed, entry=entry)
    hazard = nelson_aalen(age, failed, entry=entry)

    assert len(age) == 362
    assert survival_at(survival, [900, 1000]) == pytest.approx([0.8237460, 0.5739984], abs=5e-8)
    assert at(survival, "std_error", [900, 1000]) == pytest.approx([0.0568338, 0.0488434], abs=5e-8)
    assert at(hazard, "cumulative_hazard", [900, 1000]) == pytest.approx(
        [0.1915401, 0.5507257], abs=5e-8
    )
    assert survival.warning == ""


def test_collapsed_risk_set_is_named_and_can_be_conditioned_away():
    # R 4.2.2 survfit on channing men: one of one dies at 781 months, S stays 0 behind it;
    # H(781) = 1.5, H(900) = 1.7135227.
    age, failed, entry = channing(1)
    survival = kaplan_meier(age, failed, entry=entry)
    hazard = nelson_aalen(age, failed, entry=entry)

    assert survival_at(survival, [900, 1000]) == pytest.approx([0.0, 0.0], abs=0)
    assert at(hazard, "cumulative_hazard", [781, 900]) == pytest.approx([1.5, 1.7135227], abs=5e-8)
    assert "at age 781 only 1 at risk and 1 failed" in survival.warning
    assert "given_age" in hazard.warning

    later = kaplan_meier(age, failed, entry=entry, given_age=781)
    assert later.warning == ""
    # Independent route: the hazards after 781 alone.
    factors = 1 - later.events / later.at_risk
    assert survival_at(later, 900) == pytest.approx(np.prod(factors[later.age <= 900]))
    assert 0.7 < float(survival_at(later, 900)) < 0.95


def test_lung_data_with_median_and_restricted_mean():
    # R 4.2.2 survfit on lung (Loprinzi 1994): S, SE to 1e-6, RMST(600) 335.394 (SE 13.6335)
    # to 1e-3; median 310 [285, 363] with limits on the log scale.
    table = pd.read_csv(path("survival_lung"))
    curve = kaplan_meier(table["time"], table["status"] == 2)
    hazard = nelson_aalen(table["time"], table["status"] == 2)

    ages = [100, 300, 600]
    assert survival_at(curve, ages) == pytest.approx([0.8639690, 0.5306081, 0.2135873], abs=1e-6)
    assert at(curve, "std_error", ages) == pytest.approx(
        [0.0227102, 0.0346402, 0.0334803], abs=1e-6
    )
    assert at(hazard, "cumulative_hazard", ages) == pytest.approx(
        [0.1456542, 0.6308429, 1.5292184], abs=1e-6
    )
    assert at(hazard, "std_error", [300]) == pytest.approx([0.0649745], abs=1e-6)
    mean = restricted_mean(curve, 600)
    assert mean.mean == pytest.approx(335.394, abs=1e-3)
    assert mean.std_error == pytest.approx(13.6335, abs=1e-3)
    assert life_quantile(curve, 0.5)[0] == 310

    spread = np.exp(norm.ppf(0.975) * curve.std_error / curve.survival)
    assert curve.age[curve.survival / spread <= 0.5][0] == 285
    assert curve.age[curve.survival * spread <= 0.5][0] == 363


def test_agrees_with_lifelines_on_weighted_delayed_data():
    # Independent route: lifelines on the same data, where its conventions are the same.
    rng = np.random.default_rng(20261125)
    entry = rng.uniform(0, 2, 300) * (rng.random(300) < 0.5)
    age = np.round(entry + rng.exponential(3, 300), 1) + 0.1
    failed = rng.random(300) < 0.6
    weight = rng.integers(1, 4, 300).astype(float)
    curve = kaplan_meier(age, failed, entry=entry, weight=weight)
    theirs = KaplanMeierFitter().fit(age, failed, entry=entry, weights=weight)

    ages = curve.age
    expected = theirs.survival_function_at_times(ages).to_numpy()
    assert curve.survival == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_survival_is_a_survival_function(seed):
    rng = np.random.default_rng(seed)
    age = rng.integers(1, 12, 40).astype(float)
    curve = kaplan_meier(age, rng.random(40) < 0.7, entry=rng.integers(0, 2, 40) * 0.5)

    for values in (curve.survival, curve.low, curve.high):
        assert np.all((values >= 0) & (values <= 1))
    assert np.all(np.diff(curve.survival) <= 0)
    assert np.all((curve.low <= curve.survival) & (curve.survival <= curve.high))


def test_nothing_failed_gives_a_flat_curve():
    curve = kaplan_meier([3.0, 5.0], [False, False])

    assert curve.age.size == 0
    assert survival_at(curve, [0, 5.0]) == pytest.approx([1.0, 1.0])
    assert life_quantile(curve, 0.1) == (np.inf, np.inf, np.inf)
    assert survival_frame(curve)["survival"].tolist() == [1.0, 1.0]


def test_limits_before_the_first_failure_and_without_any():
    curve = kaplan_meier([2.0, 3, 4, 5], [True, True, False, False])
    low, high = limits_at(curve, [1.0, 2.0, 5.0])

    assert low == pytest.approx([curve.low[0], curve.low[0], curve.low[1]])
    assert high == pytest.approx([1.0, curve.high[0], curve.high[1]])
    none = survival_frame(kaplan_meier([3.0, 5.0], [False, False]))
    assert none["low"].tolist() == [0.0, 0.0]
    with pytest.raises(NotEstimable, match="covers ages 0 to 5"):
        limits_at(curve, 6.0)


def test_everything_failed_keeps_an_upper_limit():
    curve = kaplan_meier([1.0, 2.0, 3.0], [True, True, True])

    assert curve.survival[-1] == 0
    assert (curve.low[-1], curve.high[-1]) == (0.0, curve.high[1])
    assert survival_frame(curve)["age_years"].tolist() == [0, 1, 2, 3]


def test_quantile_meets_the_step_it_ends_on():
    # Ten failures of ten: a tenth has failed at the first of them, half at the fifth.
    curve = kaplan_meier(np.arange(1.0, 11), np.ones(10, dtype=bool))

    assert life_quantile(curve, 0.1)[0] == 1
    assert life_quantile(curve, 0.5)[0] == 5


def test_curve_refuses_to_be_read_beyond_its_data():
    curve = kaplan_meier([1.0, 2.0], [True, False])

    with pytest.raises(NotEstimable, match="covers ages 0 to 2, got 3"):
        survival_at(curve, [1.0, 3.0])
    with pytest.raises(NotEstimable, match="a life model is needed"):
        restricted_mean(curve, 4.0)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (dict(age=[], failed=[]), "n_units >= 1"),
        (dict(age=[1.0, np.nan], failed=[True, True]), "age must be finite and >= 0"),
        (dict(age=[1.0, -2.0], failed=[True, True]), "first row 1: -2"),
        (dict(age=[1.0], failed=[True], entry=[1.0]), "entry must be below age"),
        (dict(age=[1.0], failed=[True], entry=[3.0]), "entry must be below age"),
        (dict(age=[1.0, 2.0], failed=[True]), "cause must have shape"),
        (dict(age=[1.0], failed=[True], weight=[-1.0]), "weight must be finite and >= 0"),
        (dict(age=[1.0], failed=[True], confidence=1.0), "confidence must lie in"),
        (dict(age=[1.0], failed=[True], given_age=np.nan), "given_age must be a finite age"),
    ],
)
def test_bad_input_is_refused(arguments, message):
    with pytest.raises(InputError, match=message):
        kaplan_meier(**arguments)


def test_quantile_refuses_a_share_that_is_none():
    with pytest.raises(InputError, match="share must lie in"):
        life_quantile(kaplan_meier([1.0], [True]), 1.0)


def test_a_million_units_take_seconds_at_most():
    age = np.random.default_rng(1).exponential(5, 1_000_000)

    curve = kaplan_meier(age, age < 4)

    assert curve.survival[-1] == pytest.approx(np.exp(-4 / 5), abs=0.002)
