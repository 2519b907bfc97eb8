"""Published answers from few or no failures, and ranks on probability paper."""

from pathlib import Path

import numpy as np

from analytics.reference.check import Check, Pairs, compare
from analytics.reference.published_lives import nist_test
from analytics.survival.demonstration import (
    demonstrated_reliability,
    success_run_units,
    units_for_life,
)
from analytics.survival.few_failures import scale_bound
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes
from analytics.survival.ranks import (
    MedianRank,
    Regress,
    median_rank,
    plot_positions,
    rank_regression,
)

__all__ = ["few_failure_checks", "rank_checks"]

NO_FAILURE = "Nelson (1985), J. Quality Technology 17:140, from memory; closed form"
SUCCESS_RUN = "success-run theorem n = ln(1 - C) / ln R; binomial tail with failures"
MEDIAN = "median of Beta(i, N + 1 - i); Benard (i - 0.3) / (N + 0.4)"
ADJUSTED = "Abernethy, The New Weibull Handbook, Fig. 2-5, as quoted in an open repository"
NIST = "NIST/SEMATECH e-Handbook 8.2.2.1, printed R output (1.457519); numpy"

# Ten units of 500 h without a failure: assumed shape, confidence, lower bound of the scale [h].
BOUNDS = (
    (1.0, 0.5, 7213.475204), (1.0, 0.9, 2171.472410), (1.0, 0.95, 1669.041003),
    (1.5, 0.5, 2963.145862), (1.5, 0.9, 1330.943272), (1.5, 0.95, 1116.780972),
    (2.0, 0.5, 1899.141280), (2.0, 0.9, 1041.986662), (2.0, 0.95, 913.520937),
    (3.0, 0.5, 1217.198805), (3.0, 0.9, 815.764449), (3.0, 0.95, 747.255302),
)  # fmt: skip
UNITS = {
    (0.9, 0.9): 22, (0.9, 0.95): 29, (0.95, 0.95): 59, (0.99, 0.9): 230, (0.99, 0.95): 299,
    (0.999, 0.95): 2995,
}  # fmt: skip


def few_failure_checks(tables: Path) -> list[Check]:
    """Bounds from no failure and demonstration by success."""
    hours = [500.0] * 10
    bounds: Pairs = {
        f"scale at shape {shape:g}, confidence {level:g}": (
            scale_bound(hours, shape, confidence=level),
            expected,
        )
        for shape, level, expected in BOUNDS
    }
    bounds["scale, one assumed failure, shape 2"] = (
        scale_bound(hours, 2.0, confidence=1 - np.exp(-1)),
        1581.138830,
    )
    units: Pairs = {
        f"units for reliability {r:g}, confidence {c:g}": (success_run_units(r, confidence=c), n)
        for (r, c), n in UNITS.items()
    }
    units["units for 0.9, 0.95 with 0, 1, 2, 3 failures"] = (
        [success_run_units(0.9, failures=f) for f in range(4)],
        [29, 46, 61, 76],
    )
    units["units, shape 2, half the time"] = (units_for_life(0.9, 1000.0, 500.0, 2.0), 114)
    shown = {
        "reliability shown by 29 units": (demonstrated_reliability(29), 0.9018553723),
        "reliability shown by 20 units, 2 failures": (
            demonstrated_reliability(20, failures=2),
            0.7173814751,
        ),
    }
    return (
        compare("no failure", NO_FAILURE, bounds, relative=1e-8)
        + compare("success run", SUCCESS_RUN, units)
        + compare("success run", SUCCESS_RUN, shown, absolute=1e-9)
    )


def rank_checks(tables: Path) -> list[Check]:
    """Median ranks, adjusted ranks and rank regression."""
    ranks = np.arange(1, 6)
    exact, benard = MedianRank.EXACT, MedianRank.BENARD
    expected = {
        "exact, 5": (5, exact, [0.1294494, 0.3138102, 0.5, 0.6861898, 0.8705506]),
        "Benard, 5": (5, benard, [0.1296296, 0.3148148, 0.5, 0.6851852, 0.8703704]),
        "exact, 10": (10, exact, [0.0669670, 0.1622627, 0.2585747, 0.3551000, 0.4516942]),
        "Benard, 10": (10, benard, [0.0673077, 0.1634615, 0.2596154, 0.3557692, 0.4519231]),
    }
    pairs = {
        f"{name} units": (median_rank(ranks, n, method=method), values)
        for name, (n, method, values) in expected.items()
    }
    return compare("median ranks", MEDIAN, pairs, absolute=5.1e-8) + _suspensions() + _nist()


def _suspensions() -> list[Check]:
    age = np.array([30.0, 49, 82, 90, 96, 10, 45, 100])
    failed = np.arange(8) < 5
    benard = plot_positions(age, failed, method=MedianRank.BENARD)
    x_on_y = rank_regression(benard)
    y_on_x = rank_regression(benard, regress=Regress.SHARE_ON_AGE)
    exact = rank_regression(plot_positions(age, failed))
    fitted = fit(lifetimes(age, np.where(failed, age, np.inf)), Family.WEIBULL)
    likelihood = (1 / fitted.sigma, float(np.exp(fitted.coefficients[0])))
    pairs = {
        "maximum likelihood, shape and scale": (likelihood, (3.0170186, 87.956292)),
        "rank": (benard.rank, [1.125, 2.4375, 3.75, 5.0625, 6.375]),
        "Benard": (benard.share_failed, [0.0982143, 0.2544643, 0.4107143, 0.5669643, 0.7232143]),
        "x on y, shape and scale": ((x_on_y.shape, x_on_y.scale), (2.0242586, 94.997943)),
        "y on x, shape and scale": ((y_on_x.shape, y_on_x.scale), (1.9294182, 96.889399)),
        "squared correlation": (x_on_y.r_squared, 0.9531481),
        "exact ranks, shape and scale": ((exact.shape, exact.scale), (2.0327074, 94.930942)),
    }
    return compare("ranks with suspensions", ADJUSTED, pairs, absolute=1e-6)


def _nist() -> list[Check]:
    data = nist_test()
    points = plot_positions(data.lower, data.ended, method=MedianRank.BENARD)
    y_on_x = rank_regression(points, regress=Regress.SHARE_ON_AGE)
    x_on_y = rank_regression(points)
    pairs = {
        "y on x, shape and scale": ((y_on_x.shape, y_on_x.scale), (1.4575189, 667.336364)),
        "y on x, log10 intercept": (-y_on_x.shape * np.log10(y_on_x.scale), -4.116536),
        "x on y, shape and scale": ((x_on_y.shape, x_on_y.scale), (1.6259628, 601.959890)),
    }
    return compare("NIST life test, rank regression", NIST, pairs, absolute=1e-6)
