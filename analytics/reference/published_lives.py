"""The published life tables in the form the models take."""

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.survival.lifetimes import Lifetimes, lifetimes

__all__ = ["NIST_FAILURES", "bearings", "censored", "channing", "cracks", "fans", "nist_test"]

NIST_FAILURES = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)


def censored(age: NDArray[np.float64], failed: NDArray[np.bool_]) -> Lifetimes:
    """Lives that failed at an age or were still running at it."""
    return lifetimes(age, np.where(failed, age, np.inf))


def nist_test() -> Lifetimes:
    """Twenty units of NIST/SEMATECH e-Handbook 8.2.2.1, the test ended at 500 h."""
    age = np.array([*NIST_FAILURES, *[500] * 10], dtype=float)
    return censored(age, age < 500)


def bearings(tables: Path) -> Lifetimes:
    """Twenty-three ball bearings of Lieblein & Zelen (1956), in 10^6 revolutions."""
    return lifetimes(pd.read_csv(tables / "ballbearing23.csv")["megarevs"])


def fans(tables: Path) -> Lifetimes:
    """Diesel generator fans, in hours."""
    table = pd.read_csv(tables / "survival_genfan.csv")
    return censored(table["hours"].to_numpy(dtype=float), table["status"].to_numpy() == 1)


def cracks(tables: Path) -> Lifetimes:
    """Turbine parts looked at on eight days; 167 parts in all."""
    table = pd.read_csv(tables / "survival_cracks.csv")
    days, found = table["days"].to_numpy(dtype=float), table["fail"].to_numpy(dtype=float)
    return lifetimes(
        np.append(0.0, days), np.append(days, np.inf), weight=np.append(found, 167 - found.sum())
    )


def channing(tables: Path, gender: int) -> Lifetimes:
    """Residents seen from their age at entry on, in months; 1 men, 2 women."""
    table = pd.read_csv(tables / "kmsurv_channing.csv")
    table = table[(table["age"] > table["ageentry"]) & (table["gender"] == gender)]
    age = table["age"].to_numpy(dtype=float)
    ended = np.where(table["death"] == 1, age, np.inf)
    return lifetimes(age, ended, entry=table["ageentry"])
