"""Duty that steps mid-life: do the exponent's limits hold, and what does one average per life do?

Run with `pytest -m study tests/studies/test_changing_duty_study.py`; the environment variable
DUTY_FLEETS sets the number of fleets per cell. Each cell adds a row to
`results/changing_duty.csv`.
"""

import csv
import os
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from analytics.survival.two_hazard_fit import fit_two_hazard

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "survival"))

from stepped_fleets import EXPONENT, averaged, stepped_fleet

FLEETS = int(os.environ.get("DUTY_FLEETS", "200"))
SEED = 40_000
RESULTS = Path(__file__).parent / "results" / "changing_duty.csv"

pytestmark = pytest.mark.study


def record(row: dict[str, object]) -> None:
    new = not RESULTS.exists()
    with open(RESULTS, "a", newline="", encoding="utf-8") as stream:
        writer = csv.DictWriter(stream, list(row))
        if new:
            writer.writeheader()
        writer.writerow(row)


@pytest.mark.parametrize(("lives", "late_entry"), [(300, False), (1000, False), (1000, True)])
def test_limits_of_the_ratio_exponent_hold_when_duty_steps(lives: int, late_entry: bool):
    found = np.empty((FLEETS, 2, 3))
    for fleet in range(FLEETS):
        data = stepped_fleet(lives, SEED + fleet, late_entry=late_entry)
        for way, told in enumerate((data, averaged(data))):
            effect = fit_two_hazard(told).estimates.wear_effects["ln ratio"]
            found[fleet, way] = -effect.estimate, -effect.high, -effect.low
    bias = found[:, :, 0].mean(axis=0) - EXPONENT
    held = ((found[:, :, 1] < EXPONENT) & (EXPONENT < found[:, :, 2])).mean(axis=0)
    record(
        {
            "date": date.today().isoformat(),
            "lives": lives,
            "late_entry": late_entry,
            "fleets": FLEETS,
            "first_seed": SEED,
            "bias_by_stretches": round(float(bias[0]), 3),
            "held_by_stretches": round(float(held[0]), 3),
            "bias_by_average": round(float(bias[1]), 3),
            "held_by_average": round(float(held[1]), 3),
        }
    )
    # 95 % limits, counted over FLEETS: three standard errors either side.
    slack = 3 * np.sqrt(0.95 * 0.05 / FLEETS)
    assert abs(held[0] - 0.95) < slack + 0.01
    assert abs(bias[0]) < 0.15
    assert bias[1] < -0.4
    assert held[1] < 0.8
