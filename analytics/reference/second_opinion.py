"""Does an independent library agree? lifelines beside our own estimates on the same data."""

import warnings
from pathlib import Path

import pandas as pd
from lifelines import CoxPHFitter, KaplanMeierFitter, WeibullAFTFitter
from lifelines.exceptions import ConvergenceWarning

from analytics.reference.check import Check, compare
from analytics.survival.cox import cox_data, fit_cox
from analytics.survival.curve_readings import survival_at
from analytics.survival.curves import kaplan_meier
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes

__all__ = ["second_opinion_checks"]

SOURCE = "lifelines 0.30, fitted on this machine to the same rows; our value is the one expected"

# lifelines stops its searches early: coefficients agree to about four digits.
SEARCH = 2e-4
EXACT = 1e-9


def second_opinion_checks(tables: Path) -> list[Check]:
    """Fit lifelines to published rows and lay its values beside ours."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ConvergenceWarning)
        return _regression(tables) + _curve(tables) + _cox(tables)


def _regression(tables: Path) -> list[Check]:
    rows = pd.read_csv(tables / "survival_ovarian.csv")[["futime", "fustat", "ecog.ps", "rx"]]
    names = ("ecog.ps", "rx")
    upper = rows["futime"].astype(float).where(rows["fustat"] == 1, float("inf"))
    ours = fit(lifetimes(rows["futime"], upper), Family.WEIBULL, rows[list(names)], names)
    theirs = WeibullAFTFitter().fit(rows, "futime", "fustat")
    scale = theirs.params_["lambda_"]
    return compare(
        "Weibull regression, ovarian, second opinion",
        SOURCE,
        {
            "coefficients": (
                [scale["Intercept"], *(scale[name] for name in names)],
                list(ours.coefficients),
            ),
            "log-likelihood": (theirs.log_likelihood_, ours.log_likelihood),
        },
        absolute=SEARCH,
        relative=SEARCH,
    )


def _curve(tables: Path) -> list[Check]:
    rows = pd.read_csv(tables / "survival_genfan.csv")
    ages = (450.0, 2070.0, 8750.0)
    theirs = KaplanMeierFitter().fit(rows["hours"], rows["status"])
    ours = kaplan_meier(rows["hours"], rows["status"] == 1)
    return compare(
        "Kaplan-Meier, fans, second opinion",
        SOURCE,
        {"survival": (theirs.survival_function_at_times(ages), survival_at(ours, ages))},
        absolute=EXACT,
    )


def _cox(tables: Path) -> list[Check]:
    names = ["age", "sex", "ph.karno"]
    rows = pd.read_csv(tables / "survival_lung.csv").dropna(subset=names)
    rows = rows[["time", "status", *names]].assign(status=rows["status"] == 2)
    theirs = CoxPHFitter().fit(rows, "time", "status")
    ours = fit_cox(cox_data(rows["time"], rows["status"], rows[names], names=names))
    return compare(
        "Cox, lung, second opinion",
        SOURCE,
        {"coefficients": (theirs.params_[names], ours.coefficients)},
        absolute=SEARCH,
        relative=SEARCH,
    )
