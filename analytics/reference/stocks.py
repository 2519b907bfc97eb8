"""Published stock levels, order sizes and two-echelon backorders."""

from functools import reduce
from pathlib import Path

import numpy as np
from scipy.stats import nbinom

from analytics.reference.check import Check, compare
from analytics.spares.base_stock import (
    best_level,
    best_lot,
    level_cost,
    lot_cost,
    poisson_pmf,
    stock_measures,
)
from analytics.spares.network import Method, Site, site_pipeline, site_service
from analytics.spares.policy import expected_shortage
from analytics.spares.sums import convolved

__all__ = ["network_checks", "stock_checks"]

BASE = "Palm (1938), Feeney & Sherbrooke (1966); direct sums in scipy"
SHEN = "Snyder & Shen, Fundamentals of Supply Chain Theory 2e, as printed in stockpyl 1.0.2"
LOTS = "Federgruen & Zheng (1992), example of Snyder & Shen, stockpyl 1.0.2"
RATIONAL = "exact rational convolution: 63/250, 451/1000, 49/200, 49/1000, 3/1000"
ECHELONS = (
    "METRIC: Sherbrooke (1968); negative binomial: Graves (1985); exact: Simon (1971); own "
    "parameters, independent program and event simulation"
)
# fmt: off
# Mean, level, backorders, fill rate, ready rate, on hand, variance of backorders.
LEVELS = (
    (1, 0, 1, 0, 0.3678794412, 0, 1),
    (1, 1, 0.3678794412, 0.3678794412, 0.7357588823, 0.3678794412, 0.4967852756),
    (1, 2, 0.1036383235, 0.7357588823, 0.9196986029, 1.1036383235, 0.1498618920),
    (1, 3, 0.0233369264, 0.9196986029, 0.9810118431, 2.0233369264, 0.0330829320),
    (2.5, 2, 0.8693824938, 0.2872974952, 0.5438131159, 0.3693824938, 1.4606215884),
    (2.5, 3, 0.4131956097, 0.5438131159, 0.7575761331, 0.9131956097, 0.7631387936),
    (2.5, 5, 0.0619497617, 0.8911780189, 0.9579789618, 2.5619497617, 0.1133427754),
    (2.5, 8, 0.0014947161, 0.9957533045, 0.9988597472, 5.5014947161, 0.0023935662),
)
# Central level, pipeline mean and variance, backorders three ways, fill rate.
CENTRAL = (
    (0, 1.16, 1.16, 0.1506163316, 0.1506163316, 0.1506163316, 0.6771301507),
    (1, 0.8569059844, 0.9187197708, 0.0695865238, 0.0806836953, 0.0805003858, 0.7850110142),
    (3, 0.4829559137, 0.5170056039, 0.0148330003, 0.0200067969, 0.0202157610, 0.9105773882),
    (6, 0.3653498503, 0.3666307952, 0.0067934345, 0.0069562412, 0.0069784613, 0.9472714585),
)
# fmt: on


def stock_checks(tables: Path) -> list[Check]:
    """Base stock, newsvendor, reorder point with lot, losses, sum of unequal chances."""
    checks: list[Check] = []
    for mean, level, *expected in LEVELS:
        found = stock_measures(poisson_pmf(mean), int(level))
        measures = (
            found.backorders,
            found.fill_rate,
            found.ready_rate,
            found.on_hand,
            found.backorder_variance,
        )
        pairs = {"backorders, fill, ready, on hand, variance": (measures, expected)}
        checks += compare(f"base stock {level}, mean {mean:g}", BASE, pairs, absolute=1e-9)
    return checks + _newsvendor() + _lots() + _sums()


def network_checks(tables: Path) -> list[Check]:
    """Three equal sites and a central store."""
    sites = [
        Site(name=name, demand=20, shipping_years=0.02, local_share=0.2, local_years=0.01)
        for name in "abc"
    ]
    checks: list[Check] = []
    for central, mean, variance, metric, vari, exact, fill in CENTRAL:
        level = int(central)
        pipeline = site_pipeline(sites, 0, 0.05, level)
        counts = np.arange(len(pipeline))
        average = float(pipeline @ counts)
        owed = [
            site_service(sites, [2, 2, 2], 0.05, level, method)[0].backorders
            for method in (Method.METRIC, Method.VARI_METRIC, Method.EXACT)
        ]
        pairs = {
            "pipeline mean": (average, mean),
            "pipeline variance": (float(pipeline @ counts**2) - average**2, variance),
            "backorders by METRIC, negative binomial, exact": (owed, (metric, vari, exact)),
            "fill rate": (site_service(sites, [2, 2, 2], 0.05, level)[0].fill_rate, fill),
        }
        checks += compare(f"three sites, central level {level}", ECHELONS, pairs, absolute=1e-8)
    return checks


def _newsvendor() -> list[Check]:
    fifty, six = level_cost(poisson_pmf(50), 0.18, 0.70), level_cost(poisson_pmf(6), 1, 4)
    pairs = {
        "level, mean 50": (best_level(poisson_pmf(50), 0.18, 0.70), 56),
        "cost at 55, 56, 57": (fifty[55:58], (1.8069012592, 1.7972352118, 1.8206982983)),
        "level, mean 6": (best_level(poisson_pmf(6), 1, 4), 8),
        "cost at 5, 7, 8, 9": (
            six[[5, 7, 8, 9]],
            (6.5902960246, 3.8502081435, 3.5701069458, 3.8062944157),
        ),
        "loss, Poisson 15 at 18": (expected_shortage(poisson_pmf(15))[18], 0.5176095283),
        "loss, negative binomial at 14": (
            expected_shortage(np.asarray(nbinom.pmf(np.arange(400), 4, 0.2)))[14],
            4.4473046320,
        ),
    }
    return compare("newsvendor and losses", SHEN, pairs, absolute=1e-9)


def _lots() -> list[Check]:
    terms = {"rate": 1.5, "lead_time": 2.0, "holding": 20.0, "shortage": 150.0, "order": 100.0}
    near = {(2, 6): 108.979871, (3, 4): 109.679669, (3, 6): 109.978437}
    costs = {
        f"cost at reorder point {point}, lot {lot}": (lot_cost(point, lot, **terms), cost)
        for (point, lot), cost in near.items()
    }
    best = {
        "reorder point and lot": (best_lot(**terms), (3, 5)),
        "cost": (lot_cost(3, 5, **terms), 107.92358063314978),
    }
    topic = "reorder point and lot"
    return compare(topic, LOTS, best, absolute=1e-9) + compare(topic, LOTS, costs, absolute=1e-6)


def _sums() -> list[Check]:
    coins = [np.array([1 - p, p]) for p in (0.1, 0.2, 0.3, 0.5)]
    law = reduce(convolved, coins)
    pairs = {"law": (law[:5], (0.252, 0.451, 0.245, 0.049, 0.003))}
    return compare("sum of four unequal chances", RATIONAL, pairs, absolute=1e-14)
