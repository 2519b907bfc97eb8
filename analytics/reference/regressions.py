"""Published regressions of log life."""

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import chi2

from analytics.reference.check import Check, compare
from analytics.reference.published_lives import censored
from analytics.survival.fit import Fit, fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import life_quantile

__all__ = ["regression_checks"]

Array = NDArray[np.float64]
R = "R 4.2.2 survreg (survival 3.5-3)"
NIST = f"NIST/SEMATECH e-Handbook 8.4.2.2 (-19.906, 0.863, 0.772; LR 3.194015, p 0.3626682); {R}"
MOTORS = f"Nelson & Hahn (1972), Meeker & Escobar (1998), data imotor; {R}; MASS 7.3-58.2 example"
OVARIAN = f"{R}, its own example, data ovarian"


def regression_checks(tables: Path) -> list[Check]:
    """Refit the published regressions."""
    return _arrhenius(tables) + _motors(tables) + _ovarian(tables) + _lung(tables)


def _table(
    tables: Path, name: str, time: str, status: str, failed: int
) -> tuple[pd.DataFrame, Lifetimes]:
    table = pd.read_csv(tables / f"{name}.csv")
    age = table[time].to_numpy(dtype=float)
    return table, censored(age, table[status].to_numpy() == failed)


def _row(
    topic: str,
    source: str,
    result: Fit,
    coefficients: tuple[float, ...],
    sigma: float,
    log_likelihood: float,
    errors: tuple[float, ...] = (),
) -> list[Check]:
    found = np.sqrt(np.diag(result.covariance))[: len(errors)]
    pairs = {
        "coefficient": (result.coefficients, coefficients),
        "sigma": (result.sigma, sigma),
        "log-likelihood": (result.log_likelihood, log_likelihood),
    }
    spreads = {"standard error": (found, errors)} if errors else {}
    return compare(topic, source, pairs, relative=1e-6) + compare(
        topic, source, spreads, relative=1e-4
    )


def _arrhenius(tables: Path) -> list[Check]:
    table, data = _table(tables, "nist_arrhenius", "time", "status", 1)
    temperature = table["temp"].to_numpy(dtype=float)
    x, names = 1 / (8.617e-5 * (temperature[:, None] + 273.16)), ("per_kt",)
    lognormal = fit(data, Family.LOGNORMAL, x, names)
    checks = _row(
        "Arrhenius test, lognormal", NIST, lognormal, (-19.9061735, 0.8629029), 0.7719863,
        -476.7089135, (2.3204223, 0.0760629),
    )  # fmt: skip
    checks += _row(
        "Arrhenius test, Weibull", NIST, fit(data, Family.WEIBULL, x, names),
        (-19.1740662, 0.8511932), 0.6410977, -483.5321517,
    )  # fmt: skip
    checks += _row(
        "Arrhenius test, loglogistic", NIST, fit(data, Family.LOGLOGISTIC, x, names),
        (-19.3134301, 0.8430794), 0.4230726, -476.3584600,
    )  # fmt: skip
    cells = {
        85: (8.8914091, 1.2117463, -53.3546082),
        105: (6.4697120, 0.7147883, -265.2322927),
        125: (5.3333760, 0.8105590, -156.5250050),
    }
    separate = 0.0
    for degrees, (location, sigma, log_likelihood) in cells.items():
        here = temperature == degrees
        cell = fit(lifetimes(data.lower[here], data.upper[here]), Family.LOGNORMAL)
        topic = f"Arrhenius test, {degrees} degC alone"
        checks += _row(topic, NIST, cell, (location,), sigma, log_likelihood)
        separate += cell.log_likelihood
    ratio = 2 * (separate - lognormal.log_likelihood)
    null = fit(data, Family.LOGNORMAL).log_likelihood
    return checks + compare(
        "Arrhenius test, one line against three",
        NIST,
        {
            "likelihood ratio": (ratio, 3.1940153),
            "p-value": (chi2.sf(ratio, 3), 0.3626682),
            "log-likelihood without temperature": (null, -550.9983853),
        },
        relative=1e-6,
    )


def _motors(tables: Path) -> list[Check]:
    table, data = _table(tables, "survival_imotor", "time", "status", 1)
    degrees = table["temp"].to_numpy(dtype=float)[:, None]
    x, names = 11604.83 / (degrees + 273.16), ("per_kt",)
    checks = _row(
        "motor insulation, Weibull", MOTORS, fit(data, Family.WEIBULL, x, names),
        (-13.3534560, 0.8379528), 0.3254444, -146.2543174, (1.5006039, 0.0599988),
    )  # fmt: skip
    checks += _row(
        "motor insulation, lognormal", MOTORS, fit(data, Family.LOGNORMAL, x, names),
        (-13.8579697, 0.8552723), 0.5967880, -148.5373310,
    )  # fmt: skip
    plain = fit(data, Family.WEIBULL, degrees, ("temp",))
    checks += _row(
        "motor insulation, plain temperature", MOTORS, plain,
        (16.3185194, -0.0453070535), 0.3343253, -147.3650612,
    )  # fmt: skip
    scale = limits(plain, life_quantile(plain, -np.expm1(-1.0), [130.0]))
    return checks + compare(
        "motor insulation, scale at 130 degC",
        MOTORS,
        {
            "scale and its error": ((scale.estimate, scale.se), (33813.061, 7506.360)),
            "log-likelihood without temperature": (
                fit(data, Family.WEIBULL).log_likelihood,
                -169.5267074,
            ),
        },
        relative=1e-6,
    )


def _ovarian(tables: Path) -> list[Check]:
    table, data = _table(tables, "survival_ovarian", "futime", "fustat", 1)
    names = ("ecog.ps", "rx")
    x = table[list(names)].to_numpy(dtype=float)
    return _row(
        "ovarian trial, Weibull", OVARIAN, fit(data, Family.WEIBULL, x, names),
        (6.8966931, -0.3850425, 0.5286455), 0.8838731, -97.0844932,
        (1.1775472, 0.5270018, 0.5292019),
    ) + _row(
        "ovarian trial, exponential", OVARIAN, fit(data, Family.EXPONENTIAL, x, names),
        (6.9618376, -0.4331347, 0.5815027), 1.0, -97.1980393,
    ) + compare(
        "ovarian trial, no covariates",
        OVARIAN,
        {"log-likelihood": (fit(data, Family.WEIBULL).log_likelihood, -97.9539010)},
        relative=1e-8,
    )  # fmt: skip


def _lung(tables: Path) -> list[Check]:
    names = ("age", "sex", "ph.karno")
    table = pd.read_csv(tables / "survival_lung.csv").dropna(subset=list(names))
    data = censored(table["time"].to_numpy(dtype=float), table["status"].to_numpy() == 2)
    x = table[list(names)].to_numpy(dtype=float)
    return _row(
        "lung, Weibull", f"Loprinzi et al. (1994), data lung; {R}",
        fit(data, Family.WEIBULL, x, names),
        (5.3263158, -0.0089105825, 0.3701870515, 0.0092641716), 0.7551445, -1138.6917844,
    )  # fmt: skip
