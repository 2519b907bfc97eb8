"""Published Cox models: coefficients, robust errors and the check of their assumption."""

from pathlib import Path

import pandas as pd

from analytics.reference.check import Check, compare
from analytics.survival.cox import CoxFit, cox_data, fit_cox
from analytics.survival.proportional import TimeScale, proportional_hazards
from analytics.survival.risk_set_moments import CoxData, Ties

__all__ = ["cox_checks"]

LUNG = "Loprinzi et al. (1994), data lung; R 4.2.2 coxph, cox.zph (survival 3.5-3)"
KIDNEY = "McGilchrist & Aisbett (1991), data kidney; R 4.2.2 coxph (survival 3.5-3)"

# Exact score version, as R survival from 3.0 on: age, sex, ph.karno, all together.
DRIFT = {
    TimeScale.KAPLAN_MEIER: (0.4782359, 3.0852972, 8.0172086, 10.3589845),
    TimeScale.IDENTITY: (0.4422848, 3.2488460, 7.5524630, 10.0529531),
    TimeScale.LOG: (4.0723230, 2.6770923, 3.3565350, 8.1244766),
    TimeScale.RANK: (0.3406368, 2.7955491, 8.5898314, 10.7738217),
}


def cox_checks(tables: Path) -> list[Check]:
    """Refit the published Cox models."""
    return _lung(tables) + _clusters(tables)


def _units(table: pd.DataFrame, failed: int, names: list[str]) -> CoxData:
    return cox_data(table["time"], table["status"] == failed, table[names], names=names)


def _lung(tables: Path) -> list[Check]:
    names = ["age", "sex", "ph.karno"]
    data = _units(pd.read_csv(tables / "survival_lung.csv").dropna(subset=names), 2, names)
    efron, breslow = fit_cox(data), fit_cox(data, ties=Ties.BRESLOW)
    checks = compare(
        "Cox, lung",
        LUNG,
        {
            "coefficient, Efron": (
                efron.coefficients,
                (0.0123754042, -0.4971702902, -0.0133218371),
            ),
            "standard error": (efron.std_error, (0.0094046, 0.1677127, 0.0058801)),
            "coefficient, Breslow": (
                breslow.coefficients,
                (0.0123502668, -0.4966046027, -0.0133085203),
            ),
        },
        absolute=1e-7,
    )
    checks += compare(
        "Cox, lung",
        LUNG,
        {
            "log-likelihood, Efron": (_ends(efron), (-744.4854683, -735.0783533)),
            "log-likelihood, Breslow": (_ends(breslow), (-744.6979061, -735.3157387)),
            "score test": (efron.score, 19.045326),
            "Wald test": (efron.wald, 18.732638),
        },
        relative=1e-7,
    )
    for time_scale, expected in DRIFT.items():
        test = proportional_hazards(data, efron, time_scale=time_scale)
        found = (*test.statistic, test.global_statistic)
        topic = f"proportional hazards, exact score test, {time_scale.value}"
        checks += compare(topic, LUNG, {"chi-square": (found, expected)}, relative=1e-5)
    return checks


def _ends(fit: CoxFit) -> tuple[float, float]:
    return fit.log_likelihood_null, fit.log_likelihood


def _clusters(tables: Path) -> list[Check]:
    names = ["age", "sex"]
    kidney = pd.read_csv(tables / "survival_kidney.csv")
    patients = fit_cox(_units(kidney, 1, names), cluster=kidney["id"])
    lung = pd.read_csv(tables / "survival_lung.csv").dropna(subset=["inst"])
    institutions = fit_cox(_units(lung, 2, names), cluster=lung["inst"])
    return compare(
        "Cox, kidney, clustered by patient",
        KIDNEY,
        {
            "coefficient": (patients.coefficients, (0.0020318830, -0.8293138324)),
            "model error": (patients.std_error, (0.0092464, 0.2989549)),
            "robust error": (patients.robust_error, (0.0080887470, 0.4834637829)),
        },
        absolute=1e-6,
    ) + compare(
        "Cox, lung, clustered by institution",
        LUNG,
        {
            "coefficient": (institutions.coefficients, (0.0170334960, -0.5116682960)),
            "robust error": (institutions.robust_error, (0.0073273931, 0.1282306017)),
        },
        absolute=1e-6,
    )
