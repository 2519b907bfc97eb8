"""Published trends of a repaired system: power law and tests."""

from pathlib import Path

import numpy as np
import pandas as pd

from analytics.reference.check import Check, compare
from analytics.survival.histories import histories
from analytics.survival.power_law import fit_power_law, mtbf_limits, shape_limits
from analytics.survival.trend_tests import trend_tests

__all__ = ["trend_checks"]

TIMED = (
    "NIST/SEMATECH e-Handbook 8.2.2.3, 8.2.3.4, 8.4.5 (0.483506, 0.2913003, 310.234, "
    "157.7138, 548.5566); R 4.2.2"
)
CLOSED = "MIL-HDBK-189C and IEC 61164, formulas from memory; NIST data; R 4.2.2"


def trend_checks(tables: Path) -> list[Check]:
    """Refit the repair times, ended at a set time and at the last repair."""
    times = pd.read_csv(tables / "nist_repair.csv")["t"].to_numpy(dtype=float)
    return _to_a_time(times) + _to_the_last_event(times)


def _to_a_time(times: np.ndarray) -> list[Check]:
    data = histories(times, end=1500.0)
    fit, tests = fit_power_law(data), trend_tests(data)
    ends = [shape_limits(fit, confidence=level) for level in (0.80, 0.90, 0.95)]
    mtbf = mtbf_limits(fit, confidence=0.80)
    statistics = {
        "shape": (fit.shape, 0.537228866),
        "rate constant": (fit.rate_constant, 0.196658216),
        "log-likelihood": (fit.log_likelihood, -57.70562301),
        "shape, unbiased": (fit.shape_unbiased, 0.483505979),
        "rate constant, unbiased": (fit.rate_constant_unbiased, 0.291300269),
        "shape limit, 80, 90, 95 %": (
            [(one.low, one.high) for one in ends],
            [(0.33422644, 0.76318681), (0.29146846, 0.84372956), (0.25762212, 0.91784496)],
        ),
        "Laplace": (tests.laplace, -1.32694918),
        "chi-square": (tests.chi_square, 37.22808148),
        "chi-square degrees": (tests.chi_square_degrees_of_freedom, 20),
        "Cramer-von Mises": (tests.cramer_von_mises, 0.05376869),
        "reverse arrangements (count not confirmed on NIST's page)": (
            tests.reverse_arrangements,
            33,
        ),
        "reverse arrangements, z": (tests.reverse_arrangement_z, 1.96773982),
    }
    means = {
        "time between failures": (fit.mtbf, 279.210611),
        "time between failures, unbiased, 80 % limits": (
            (mtbf.estimate, mtbf.low, mtbf.high),
            (310.234012, 157.713834, 548.556598),
        ),
        "Laplace p-value": (tests.laplace_p_value, 0.184525),
    }
    topic = "repairs watched to 1500 h"
    return compare(topic, TIMED, statistics, absolute=1e-8) + compare(
        topic, TIMED, means, absolute=1e-6
    )


def _to_the_last_event(times: np.ndarray) -> list[Check]:
    data = histories(times)
    fit, tests = fit_power_law(data), trend_tests(data)
    limit = shape_limits(fit, confidence=0.90)
    statistics = {
        "shape": (fit.shape, 0.541527353),
        "rate constant": (fit.rate_constant, 0.192103197),
        "shape, unbiased": (fit.shape_unbiased, 0.433221882),
        "log-likelihood": (fit.log_likelihood, -57.62592920),
        "shape limit, 90 %": ((limit.low, limit.high), (0.25425941, 0.78167577)),
        "Laplace": (tests.laplace, -1.91095908),
        "chi-square": (tests.chi_square, 36.93257577),
        "chi-square degrees": (tests.chi_square_degrees_of_freedom, 18),
        "Cramer-von Mises": (tests.cramer_von_mises, 0.03860056),
    }
    means = {
        "time between failures": (fit.mtbf, 272.931735),
        "time between failures, unbiased": (fit.mtbf_unbiased, 341.164669),
    }
    topic = "repairs watched to the last one"
    return compare(topic, CLOSED, statistics, absolute=1e-8) + compare(
        topic, CLOSED, means, absolute=1e-6
    )
