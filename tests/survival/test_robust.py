import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes
from analytics.survival.prior import Prior
from analytics.survival.problem import evaluate
from analytics.survival.robust import row_scores, with_clusters
from datasets.reference import path

NAMES = ("age", "sex", "ph.karno")


def lung():
    frame = pd.read_csv(path("survival_lung")).dropna(subset=[*NAMES, "inst"])
    age = frame["time"].to_numpy(dtype=float)
    data = lifetimes(age, np.where(frame["status"] == 2, age, np.inf))
    return frame, fit(data, Family.WEIBULL, frame[list(NAMES)].to_numpy(dtype=float), NAMES)


def test_lung_by_institution():
    # R 4.2.2, survival 3.5-3: survreg(Surv(time, status) ~ age + sex + ph.karno + cluster(inst)),
    # data `lung`, 226 complete rows, 18 institutions; run on 2026-11-25, twelve digits printed.
    frame, result = lung()
    robust = with_clusters(result, frame["inst"])

    assert result.log_likelihood == pytest.approx(-1132.17055951, rel=1e-10)
    assert np.sqrt(np.diag(result.covariance)) == pytest.approx(
        [0.66552180316049, 0.00713962743446, 0.12864960918535, 0.00448711362028, 0.06189619757390],
        rel=1e-6,
    )
    assert np.sqrt(np.diag(robust.covariance)) == pytest.approx(
        [0.60084729334910, 0.00482529125287, 0.10783372670289, 0.00693842642797, 0.06394835192127],
        rel=1e-5,
    )
    assert "only 18 clusters" in robust.warnings[-1]


def test_scores_sum_to_the_gradient():
    _, result = lung()
    theta = result.summit.theta + 0.1
    scores = row_scores(result.problem, theta)

    assert scores.sum(axis=0) == pytest.approx(evaluate(result.problem, theta)[1], rel=1e-9)


def test_doubled_rows_in_clusters_give_the_single_rows_errors():
    # Limiting case: each life entered twice adds no knowledge once its copies are clustered.
    frame, result = lung()
    once = with_clusters(result, np.arange(len(frame)))
    age = np.repeat(frame["time"].to_numpy(dtype=float), 2)
    data = lifetimes(age, np.where(np.repeat(frame["status"], 2) == 2, age, np.inf))
    x = np.repeat(frame[list(NAMES)].to_numpy(dtype=float), 2, axis=0)
    twice = fit(data, Family.WEIBULL, x, NAMES)
    clustered = with_clusters(twice, np.repeat(np.arange(len(frame)), 2))

    assert np.diag(twice.covariance) == pytest.approx(np.diag(result.covariance) / 2, rel=1e-5)
    assert clustered.covariance == pytest.approx(once.covariance, rel=1e-4, abs=1e-9)


def test_refusals():
    frame, result = lung()
    with pytest.raises(InputError, match="one label for each of 226 rows"):
        with_clusters(result, [1, 2])
    with pytest.raises(NotEstimable, match="more clusters than the 5 parameters, got 2"):
        with_clusters(result, frame["sex"])
    held = fit(lifetimes([1.0, 2.0, 3.0]), Family.WEIBULL, prior=Prior())
    with pytest.raises(InputError, match="without a prior"):
        with_clusters(held, [1, 2, 3])
