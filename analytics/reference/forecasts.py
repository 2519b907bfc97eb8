"""Published scores of forecasts, limits of counts and residual lives."""

from pathlib import Path

import numpy as np
from scipy.stats import binom, binomtest, poisson

from analytics.reference.check import Check, compare
from analytics.reference.replacements import weibull_law
from analytics.survival.residual import failure_within, mean_residual_life
from analytics.survival.scores import (
    brier_score,
    crps_normal,
    crps_pmf,
    crps_poisson,
    gamma_poisson_pmf,
    garwood_limits,
    log_score,
    pinball_loss,
)

__all__ = ["forecast_checks"]

CRPS = "Gneiting & Raftery (2007), Wei & Held (2014); properscoring 0.1 and direct sums"
CLOSED = "closed forms"
GARWOOD = "Garwood (1936); chi-square form and exact coverage in scipy"
PREDICTIVE = "negative binomial (2.5, 4 / 5.5); scipy"
BINOMIAL = "exact coverage at n = 20, p = 0.1; scipy limits on this machine"


def forecast_checks(tables: Path) -> list[Check]:
    """Scores, Poisson limits with their coverage, predictive counts, residual life."""
    crps = {
        "normal": (crps_normal([0, 0, 2], [1, 1, 3], [0, 1, -1]),
                   (0.2336949773, 0.6024413576, 1.8073240729)),
        "Poisson": (crps_poisson([1, 3, 3], [0, 3, 7]), (0.4762223882, 0.3881241701, 3.0782614820)),
        "listed": (crps_pmf([0.2, 0.5, 0.2, 0.1], np.arange(4)), (0.74, 0.14, 0.54, 1.34)),
        "log score": (log_score(poisson.pmf(3, 3)), 1.4959226032),
    }  # fmt: skip
    others = {
        "Brier": (brier_score([0.8, 0.3, 0.6], [1, 0, 0]), 0.1633333333),
        "pinball": (pinball_loss(0.9, 5, [8, 2]), (2.7, 0.3)),
        "failure within 3 after 6": (
            failure_within(weibull_law(2.5, 10), 6, 3)[0, 0],
            0.3871154339,
        ),
        "mean residual life at 0.5": (mean_residual_life(weibull_law(2), 0.5)[0, 0], 0.5456413608),
    }
    pmf = gamma_poisson_pmf(2.5, 4.0, 1.5)
    counts = np.arange(pmf.size)
    predictive = {
        "probability of 0 to 4": (
            pmf[:5],
            (0.4510692842, 0.3075472392, 0.1467839096, 0.0600479630, 0.0225179861),
        ),
        "mean and variance": (
            (pmf @ counts, pmf @ counts**2 - (pmf @ counts) ** 2),
            (0.9375, 1.2890625),
        ),
    }
    return (
        compare("continuous ranked probability score", CRPS, crps, absolute=1e-9)
        + compare("other scores and residual life", CLOSED, others, absolute=1e-9)
        + _limits()
        + compare("gamma-Poisson forecast", PREDICTIVE, predictive, absolute=1e-9)
        + _binomial()
    )


def _limits() -> list[Check]:
    counts = np.arange(80)
    limits = [garwood_limits(int(k)) for k in counts]
    low, high = np.array([x.low for x in limits]), np.array([x.high for x in limits])
    coverage = [
        float(poisson.pmf(counts, mean)[(low <= mean) & (mean <= high)].sum())
        for mean in (1, 3, 10)
    ]
    ends = (3.6888794541, 0.6186721229, 8.7672730697, 4.7953886961, 18.3903560420)
    pairs = {
        "limits of 0, 3, 10": ((high[0], low[3], high[3], low[10], high[10]), ends),
        "coverage at 1, 3, 10": (coverage, (0.9810118431, 0.9880954961, 0.9753863357)),
    }
    return compare("limits of a count", GARWOOD, pairs, absolute=1e-9)


def _binomial() -> list[Check]:
    n, p = 20, 0.1
    chance = binom.pmf(np.arange(n + 1), n, p)
    coverage = []
    for method in ("exact", "wilson"):
        limits = [binomtest(k, n).proportion_ci(method=method) for k in range(n + 1)]
        coverage.append(sum(c for c, x in zip(chance, limits, strict=True) if x.low <= p <= x.high))
    pairs = {"Clopper-Pearson, Wilson": (coverage, (0.9887468658, 0.9568255047))}
    return compare("coverage of binomial limits", BINOMIAL, pairs, absolute=1e-9)
