"""Published renewal functions and least-cost replacement ages."""

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import erf

from analytics.intervals.cost import least_cost
from analytics.intervals.general import least_cost_age, least_cost_block
from analytics.reference.check import Check, Pairs, compare
from analytics.spares.renewal import aged_cdf, renewal_counts
from analytics.survival.law import Family, LifeLaw

__all__ = ["renewal_checks", "replacement_checks", "weibull_law"]

Array = NDArray[np.float64]
STAGES = "Cox, Renewal Theory (1962), from memory; closed form re-derived"
UNIFORM = "Barlow & Proschan (1965), from memory; closed form re-derived"
SERIES = "Smith & Leadbetter (1963) power series, mpmath at 160 digits"
AGED = "delayed renewal equation by mpmath quadrature; simulation 1.15152 +- 0.00068"
AGE = "Barlow & Proschan (1965) ch. 4 (theory; not opened); mpmath bisection at 60 digits"
BLOCK = "Barlow & Proschan (1965), Barlow & Hunter (1960), from memory; closed forms re-derived"

HORIZONS = (0.25, 0.5, 1, 1.5, 2, 3)
# fmt: off
WEIBULL_MEANS = {
    1.5: (0.121901501447, 0.330269844472, 0.841578136650, 1.39091515034, 1.94550079993,
          3.05371394472),
    2.0: (0.0612246012002, 0.230793893610, 0.753691277537, 1.32949053927, 1.89403934679,
          3.02174500895),
}
# Shape, cost of a failure over that of a planned replacement, age, cost, cost of none.
OPTIMA = (
    (2, 2, 1.09079697, 2.18159394, 2.25675833), (2, 5, 0.510655224, 4.08524179, 5.64189584),
    (2, 10, 0.336451191, 6.05612144, 11.2837917), (2, 20, 0.230426798, 8.75621833, 22.5675833),
    (3, 2, 0.810342027, 1.96996260, 2.23969304), (3, 5, 0.502609582, 3.03139670, 5.59923261),
    (3, 10, 0.382455531, 3.94935030, 11.1984652), (3, 20, 0.297770471, 5.05403343, 22.3969304),
)
# fmt: on


def weibull_law(shape: float, scale: float = 1.0) -> LifeLaw:
    """Give a Weibull life without an installation hazard, one draw of one unit."""
    one = np.ones((1, 1))
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=math.log(scale) * one,
        wear_sigma=one / shape,
        install_log_rate=-np.inf * one,
        install_shape=one,
    )


def renewal_checks(tables: Path) -> list[Check]:
    """Expected replacements and their distribution."""
    checks: list[Check] = []
    cases: tuple[tuple[float, tuple[float, ...], tuple[float, ...]], ...] = (
        (1, (0.1, 0.5, 1, 2, 5),
         (0.0046826883, 0.0919698603, 0.2838338208, 0.7545789097, 2.2500113500)),
        (2, (0.1, 0.5, 1, 2), (0.0175800115, 0.2838338208, 0.7545789097, 1.7500838657)),
    )  # fmt: skip
    for rate, times, expected in cases:
        found = [renewal_counts(_two_stages(rate), t).mean for t in times]
        pairs: Pairs = {f"mean at {', '.join(f'{t:g}' for t in times)}": (found, expected)}
        checks += compare(f"renewals of two stages, rate {rate}", STAGES, pairs, absolute=1e-8)
    counts = renewal_counts(_two_stages(1), 2.0, tolerance=1e-9)
    numbers = np.arange(counts.pmf.size)
    variance = counts.pmf @ numbers**2 - counts.mean**2
    law = (0.40600585, 0.45111761, 0.12631293, 0.01546689, 0.00105022)
    # The variance by direct sum: the count is half a Poisson(2) count, rounded down.
    pairs = {"law at 2": (counts.pmf[:5], law), "variance at 2": (variance, 0.5441633947)}
    checks += compare("renewals of two stages, rate 1", STAGES, pairs, absolute=1e-8)
    found = [renewal_counts(_uniform, t).mean for t in (0.5, 1.0)]
    pairs = {"mean at 0.5, 1": (found, (0.6487212707, 1.7182818285))}
    checks += compare("renewals of a uniform life", UNIFORM, pairs, absolute=1e-8)
    for shape, expected in WEIBULL_MEANS.items():
        life = aged_cdf(weibull_law(shape))
        found = [renewal_counts(life, t, tolerance=1e-9).mean for t in HORIZONS]
        pairs = {"mean at 0.25, 0.5, 1, 1.5, 2, 3": (found, expected)}
        checks += compare(f"renewals of a Weibull, shape {shape:g}", SERIES, pairs, absolute=1e-6)
    first, later = aged_cdf(weibull_law(2), 0.5), aged_cdf(weibull_law(2))
    mean = 0.8862269255  # of the Weibull with scale 1, so that the life below has mean 1
    horizons = (0.2, 0.5, 1, 1.5, 2, 3)
    found = [renewal_counts(later, mean * t, tolerance=1e-9).mean for t in horizons]
    expected = (0.031090356, 0.1842977, 0.6240699, 1.1341591, 1.6378986, 2.6364924)
    pairs = {"mean at 0.2, 0.5, 1, 1.5, 2, 3": (found, expected)}
    checks += compare("renewals of a Weibull, shape 2, mean 1", SERIES, pairs, absolute=1e-6)
    found = [renewal_counts(later, t, first_cdf=first).mean for t in (0.5, 1.0)]
    pairs = {"mean at 0.5, 1": (found, (0.5699050858, 1.1515865510))}
    checks += compare("renewals, first unit aged 0.5", AGED, pairs, absolute=1e-6)
    steady = renewal_counts(later, 1.3, first_cdf=_in_balance).mean
    pairs = {"mean at 1.3": ([steady], [1.3 / 0.8862269255])}
    return checks + compare("renewals begun in balance", STAGES, pairs, absolute=1e-8)


def replacement_checks(tables: Path) -> list[Check]:
    """Least-cost ages and intervals."""
    checks: list[Check] = []
    for shape, dear, age, cost, none in OPTIMA:
        found = least_cost(weibull_law(shape), 1.0, float(dear))
        topic = f"age replacement, shape {shape}, failure {dear} times as dear"
        checks += compare(topic, AGE, {"age": (found.age_years[0, 0], age)}, absolute=1e-6)
        costs = {
            "cost": (found.cost_per_year[0, 0], cost),
            "cost of running to failure": (found.run_to_failure[0, 0], none),
        }
        checks += compare(topic, AGE, costs, relative=5e-9)
    closed: Pairs = {}
    for cost_ratio, age, cost in ((2.0, 0.732050808, 3.732050808), (5.0, 0.5, 8.0),
                            (10.0, 0.373210994, 14.3588989)):  # fmt: skip
        best = least_cost_age(lambda t: 1 - t, lambda t: 1 / (1 - t), 1.0, cost_ratio, horizon=1.0)
        closed[f"uniform life, {cost_ratio:g} times"] = (
            (best.interval, best.cost_rate),
            (age, cost),
        )
    for ratio, age, cost in ((0.05, 0.4121941545, 0.2807484306), (0.1, 0.6882106710, 0.3737597602),
                             (0.2, 1.4971541735, 0.4749643765)):  # fmt: skip
        best = least_cost_block(
            lambda t: t / 2 - (1 - math.exp(-2 * t)) / 4,
            lambda t: (1 - math.exp(-2 * t)) / 2,
            ratio, 1.0, horizon=20.0,
        )  # fmt: skip
        closed[f"block, two stages, {ratio:g}"] = ((best.interval, best.cost_rate), (age, cost))
    checks += compare("replacement, closed forms", BLOCK, closed, absolute=1e-7)
    repair = least_cost_block(
        lambda t: (t / 1000) ** 2.5, lambda t: 2.5 / 1000 * (t / 1000) ** 1.5, 5.0, 1.0,
        horizon=10_000.0,
    )  # fmt: skip
    pairs: Pairs = {
        "interval": (repair.interval, 1618.644583),
        "cost": (repair.cost_rate, 0.0051483404),
    }
    return checks + compare("replacement, minimal repair", BLOCK, pairs, relative=1e-8)


def _two_stages(rate: float) -> Callable[[Array], Array]:
    return lambda times: 1 - (1 + rate * times) * np.exp(-rate * times)


def _uniform(times: Array) -> Array:
    return np.clip(times, 0.0, 1.0)


def _in_balance(times: Array) -> Array:
    """First life of a Weibull of shape 2 met at a random moment."""
    return np.asarray(erf(times))
