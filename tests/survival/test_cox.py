"""Cox model, robust standard errors and the test of proportional hazards."""

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxPHFitter

from analytics.errors import InputError, NotConverged, NotEstimable
from analytics.survival.cox import cox_data, fit_cox
from analytics.survival.proportional import TimeScale, proportional_hazards
from analytics.survival.risk_set_moments import Ties, moments, score_residuals
from datasets.reference import path


def lung(names):
    table = pd.read_csv(path("survival_lung")).dropna(subset=names)
    data = cox_data(table["time"], table["status"] == 2, table[names], names=names)
    return data, table["inst"]


def simulated(seed, n=60):
    rng = np.random.default_rng(seed)
    x = np.column_stack([rng.normal(size=n), rng.integers(0, 2, n)])
    entry = np.where(rng.random(n) < 0.4, rng.uniform(0, 1, n), 0.0)
    age = np.round(entry + rng.exponential(np.exp(-0.5 * x[:, 0])), 1) + 0.1
    return age, rng.random(n) < 0.7, x, entry


def test_lung_coefficients_and_overall_tests():
    # R 4.2.2 coxph (survival 3.5-3), Efron, lung: age + sex + ph.karno, 227 units, 164 events.
    fit = fit_cox(lung(["age", "sex", "ph.karno"])[0])

    assert (fit.n, fit.events) == (227, 164)
    assert fit.coefficients == pytest.approx([0.0123754042, -0.4971702902, -0.0133218371], abs=1e-9)
    assert fit.std_error == pytest.approx([0.0094046, 0.1677127, 0.0058801], abs=5e-8)
    assert fit.log_likelihood == pytest.approx(-735.0783533, abs=5e-8)
    assert fit.log_likelihood_null == pytest.approx(-744.4854683, abs=5e-8)
    assert fit.score == pytest.approx(19.045326, rel=1e-7)
    assert fit.wald == pytest.approx(18.732638, rel=1e-7)


def test_lung_with_breslow_ties():
    # R 4.2.2 coxph, ties = "breslow", same data.
    fit = fit_cox(lung(["age", "sex", "ph.karno"])[0], ties=Ties.BRESLOW)

    assert fit.coefficients == pytest.approx([0.0123502668, -0.4966046027, -0.0133085203], abs=1e-9)
    assert fit.log_likelihood == pytest.approx(-735.3157387, abs=5e-8)
    assert fit.log_likelihood_null == pytest.approx(-744.6979061, abs=5e-8)


@pytest.mark.parametrize(
    ("ties", "expected"),
    # R 4.2.2 coxph (survival 3.5-3) on six units with tied failures, 6 digits.
    [(Ties.EFRON, 1.676857), (Ties.BRESLOW, 1.475285)],
)
def test_six_units_with_ties(ties, expected):
    data = cox_data([9.0, 1, 1, 6, 6, 8], [1, 1, 0, 1, 1, 0], [[0], [1], [1], [1], [0], [0]],
                    names=["x"])  # fmt: skip

    assert fit_cox(data, ties=ties).coefficients[0] == pytest.approx(expected, abs=5e-7)


@pytest.mark.parametrize(
    ("time_scale", "age", "sex", "karno", "together"),
    [
        # R 4.2.2 cox.zph (survival 3.5-3: exact score version), 1e-5 relative.
        (TimeScale.KAPLAN_MEIER, 0.4782359, 3.0852972, 8.0172086, 10.3589845),
        (TimeScale.IDENTITY, 0.4422848, 3.2488460, 7.5524630, 10.0529531),
        (TimeScale.LOG, 4.0723230, 2.6770923, 3.3565350, 8.1244766),
        (TimeScale.RANK, 0.3406368, 2.7955491, 8.5898314, 10.7738217),
    ],
)
def test_proportional_hazards_on_lung(time_scale, age, sex, karno, together):
    data, _ = lung(["age", "sex", "ph.karno"])
    test = proportional_hazards(data, fit_cox(data), time_scale=time_scale)

    assert test.statistic == pytest.approx([age, sex, karno], rel=1e-6)
    assert test.global_statistic == pytest.approx(together, rel=1e-6)
    assert "3.0" in test.version


def test_kidney_cluster_robust_errors():
    # R 4.2.2 coxph (McGilchrist & Aisbett 1991), age + sex, cluster = patient. lifelines gives
    # 0.0081270 and 0.4832175: it treats tied ages more simply.
    table = pd.read_csv(path("survival_kidney"))
    names = ["age", "sex"]
    data = cox_data(table["time"], table["status"] == 1, table[names], names=names)
    fit = fit_cox(data, cluster=table["id"])

    assert fit.coefficients == pytest.approx([0.0020318830, -0.8293138324], abs=1e-9)
    assert fit.std_error == pytest.approx([0.0092464, 0.2989549], abs=5e-8)
    assert fit.robust_error == pytest.approx([0.0080887470, 0.4834637829], abs=1e-9)


def test_lung_clustered_by_institution():
    # R 4.2.2 coxph, lung: age + sex, cluster = institution, 1e-6.
    # One unit has no institution; it left early and R drops it (227 units).
    names = ["age", "sex"]
    table = pd.read_csv(path("survival_lung")).dropna(subset=["inst"])
    data = cox_data(table["time"], table["status"] == 2, table[names], names=names)
    fit = fit_cox(data, cluster=table["inst"])

    assert fit.coefficients == pytest.approx([0.0170334960, -0.5116682960], abs=1e-6)
    assert fit.robust_error == pytest.approx([0.0073273931, 0.1282306017], abs=1e-9)
    assert fit.high - fit.coefficients == pytest.approx(1.959964 * fit.robust_error, rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_information_is_lifelines_and_score_vanishes(seed):
    # Independent route: lifelines' own variance, delayed entry and heavy ties included.
    age, failed, x, entry = simulated(seed)
    data = cox_data(age, failed, x, names=["a", "b"], entry=entry)
    fit = fit_cox(data)
    frame = pd.DataFrame({"a": x[:, 0], "b": x[:, 1], "t": age, "e": failed, "s": entry})
    theirs = CoxPHFitter().fit(frame, "t", "e", entry_col="s", fit_options={"precision": 1e-10})
    sums = moments(data, fit.coefficients)

    assert fit.std_error == pytest.approx(theirs.standard_errors_.to_numpy(), rel=1e-6)
    assert sums.score.sum(axis=0) == pytest.approx([0, 0], abs=1e-7)
    residuals = score_residuals(data, fit.coefficients, sums)
    assert residuals.sum(axis=0) == pytest.approx([0, 0], abs=1e-7)


def test_robust_error_is_the_infinitesimal_jackknife():
    # Independent route: refit with each unit's weight moved a little; no ties, so that
    # Efron's mean weight of tied failures plays no part.
    rng = np.random.default_rng(5)
    age, x = rng.exponential(size=40), rng.normal(size=(40, 1))
    failed = rng.random(40) < 0.8
    fit = fit_cox(cox_data(age, failed, x, names=["x"]))

    step, moved = 1e-3, np.empty(40)
    for unit in range(40):
        pair = [
            fit_cox(cox_data(age, failed, x, names=["x"],
                             weight=1 + sign * step * (np.arange(40) == unit))).coefficients[0]
            for sign in (1, -1)
        ]  # fmt: skip
        moved[unit] = (pair[0] - pair[1]) / (2 * step)
    assert fit.robust_error[0] == pytest.approx(np.sqrt((moved**2).sum()), rel=1e-4)


def test_weights_stand_for_repeated_rows():
    age, failed, x, entry = simulated(9)
    age = age + np.arange(60) * 1e-6  # repeated rows would otherwise be new ties
    twice = np.repeat(np.arange(60), 2)
    jitter = np.tile([0, 1e-9], 60)
    weighted = fit_cox(cox_data(age, failed, x, names=["a", "b"], entry=entry, weight=2.0))
    repeated = fit_cox(
        cox_data(age[twice] + jitter, failed[twice], x[twice], names=["a", "b"],
                 entry=entry[twice])
    )  # fmt: skip

    assert weighted.std_error == pytest.approx(repeated.std_error, rel=0.02)


def test_a_drifting_ratio_is_seen_and_a_steady_one_is_not():
    rng = np.random.default_rng(6)
    group = np.repeat([0.0, 1.0], 400)
    shape = np.where(group > 0, 3.0, 0.8)  # crossing hazards
    for power, drifting in ((shape, True), (np.full(800, 1.5), False)):
        age = rng.weibull(power)
        data = cox_data(age, np.ones(800), group[:, None], names=["group"])
        p_value = proportional_hazards(data, fit_cox(data)).p_value[0]
        assert (p_value < 1e-6) == drifting


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"failed": [0] * 6}, NotEstimable, "at least one failure"),
        ({"covariates": np.ones((6, 1))}, NotEstimable, "x is the same for all"),
        ({"covariates": [[1.0], [np.nan], [2], [3], [4], [5]]}, InputError, "must be finite"),
        ({"covariates": np.zeros((6, 2))}, InputError, "one column per name"),
        ({"entry": [9.0] * 6}, InputError, "0 <= entry < age"),
        ({"weight": 0.0}, InputError, "weight must be"),
        ({"failed": [1, 0]}, InputError, "failed must have shape"),
    ],
)
def test_bad_input_is_refused(change, error, message):
    good = {
        "age": [1.0, 2, 3, 4, 5, 6], "failed": [1] * 6, "names": ["x"],
        "covariates": [[1.0], [0], [2], [0], [1], [3]],
    }  # fmt: skip
    with pytest.raises(error, match=message):
        cox_data(**(good | change))


def test_dependent_covariates_are_refused():
    x = np.random.default_rng(1).normal(size=(20, 2))
    x = np.column_stack([x, x.sum(axis=1)])
    with pytest.raises(NotEstimable, match="depend on each other"):
        cox_data(np.arange(1.0, 21), np.ones(20), x, names=["a", "b", "c"])


def test_separated_failures_are_refused():
    x = np.repeat([0.0, 1.0], 10)[:, None]
    data = cox_data(np.arange(20.0, 0, -1), x[:, 0], x, names=["x"])
    with pytest.raises(NotConverged, match="no maximum"):
        fit_cox(data)


def test_blank_cluster_is_refused():
    data, institution = lung(["age", "sex"])
    assert institution.isna().any()
    with pytest.raises(InputError, match="no blanks"):
        fit_cox(data, cluster=institution)


def test_covariate_that_never_differs_among_those_at_risk_is_refused():
    # It differs between units, but only one failed and all then at risk shared it.
    data = cox_data([1.0, 2, 9, 9], [0, 0, 1, 0], [[0.0], [1], [5], [5]], names=["x"])
    with pytest.raises(NotEstimable, match="covariate x is the same for all units at risk"):
        fit_cox(data)


def test_one_age_at_failure_cannot_show_a_drift():
    data = cox_data([1.0, 1, 2, 2], [1, 1, 0, 0], [[0.0], [1], [1], [-1]], names=["x"])
    with pytest.raises(NotEstimable, match="1 ages at failure are too few"):
        proportional_hazards(data, fit_cox(data))
