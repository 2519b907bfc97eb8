"""Published cycle counts, damage sums and mean-stress corrections."""

from pathlib import Path

import numpy as np

from analytics.duty.cycles import extract_cycles
from analytics.duty.damage import (
    Basquin,
    MeanCorrection,
    corrected_range,
    equivalent_range,
    miner_damage,
    miner_sum,
)
from analytics.reference.check import Check, compare

__all__ = ["cycle_checks"]

STANDARD = "ASTM E1049-85, 5.4.4, numbers as the tests of rainflow 3.2.0 give them"
OWN = "by hand; rainflow 3.2.0"
ARITHMETIC = "arithmetic (Palmgren-Miner; Goodman; Smith, Watson & Topper)"


def cycle_checks(tables: Path) -> list[Check]:
    """Rainflow cycles of the standard's history, and damage sums."""
    found = extract_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2])
    ties = extract_cycles([0, 10, 2, 8, 0, 10, 0])
    thirds = Basquin(cycles_at_unit_range=1e6, slope=3.0)
    fifths = Basquin(cycles_at_unit_range=1e7, slope=5.0)
    goodman = corrected_range([8.0], [1.0], MeanCorrection.GOODMAN, 100.0) / 2
    swt = corrected_range([8.0], [1.0], MeanCorrection.SMITH_WATSON_TOPPER) / 2
    counted = {
        "range": (found.ranges, [3, 4, 4, 8, 9, 8, 6]),
        "mean": (found.means, [-0.5, -1, 1, 1, 0.5, 0, 1]),
        "count": (found.counts, [0.5, 0.5, 1, 0.5, 0.5, 0.5, 0.5]),
    }
    tied = {
        "range": (ties.ranges, [6, 10, 10, 10, 10]),
        "count": (ties.counts, [1, 0.5, 0.5, 0.5, 0.5]),
    }
    damage = {
        "Miner sum of three blocks": (miner_sum([1e4, 5e3, 1e3], [1e5, 2e4, 4e3]), 0.6),
        "damage, slope 3": (miner_damage(found.ranges, found.counts, thirds), 0.001094),
        "damage, slope 5": (miner_damage(found.ranges, found.counts, fifths), 0.0067838),
        "equivalent range, slope 3": (
            equivalent_range(found.ranges, found.counts, 3.0),
            6.491112113,
        ),
        "equivalent range, slope 5": (
            equivalent_range(found.ranges, found.counts, 5.0),
            7.012657185,
        ),
        "Goodman amplitude": (goodman, np.array([4.040404040])),
        "Smith-Watson-Topper amplitude": (swt, np.array([4.472135955])),
    }
    return (
        compare("rainflow, history of the standard", STANDARD, counted)
        + compare("rainflow, ties", OWN, tied)
        + compare("damage", ARITHMETIC, damage, relative=1e-9)
    )
