"""Do 95 % limits hold the truth 95 times in 100?

Fleets of Weibull lives with delayed entry and inspection intervals, nine cells of size and
censoring. Limits by likelihood ratio for the shape, the B10 life at the reference ratio and the
exponent of the operating ratio, as `careful_fit` gives them; a fleet that cannot be fitted is a
miss. Results go to `results/coverage_<fleets>.csv`; `DISCWARD_FLEETS` sets the
fleets a cell, 200 by default, 2000 for the figures to quote.

The negative control fits such fleets with a Hessian three times as deep as it is: its Wald
limits must fail the same gate.
"""

import csv
import os
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from life_fleets import CELLS, NAMES, REFERENCE, TENTH, Cell, fleet, truth, watched_years
from scipy.stats import binom

import analytics.survival.problem as problem_module
from analytics.errors import NotEstimable
from analytics.survival.few_failures import ENOUGH_FAILURES, careful_fit
from analytics.survival.fit import Fit
from analytics.survival.law import Family
from analytics.survival.limits import likelihood_ratio_limits, wald_limits
from analytics.survival.quantities import Quantity, life_quantile, parameters

FLEETS = int(os.environ.get("DISCWARD_FLEETS", "200"))
SEED = 20261125
RESULTS = Path(__file__).parent / "results" / f"coverage_{FLEETS}.csv"
LOW, HIGH, LOW_IF_FLAGGED = 0.935, 0.965, 0.90

pytestmark = pytest.mark.study


def asked(result: Fit) -> dict[str, Quantity]:
    _, exponent, sigma = parameters(result)
    return {
        "shape": sigma,
        "b10": life_quantile(result, TENTH, REFERENCE),
        "exponent": exponent,
    }


def study(cell: Cell, fleets: int) -> dict[str, object]:
    """Fit every fleet of a cell and count what the limits hold."""
    true = truth() | {"shape": 1 / truth()["shape"]}  # the parameter is sigma = 1 / shape
    years = watched_years(cell.censored)
    held = {kind: dict.fromkeys(true, 0) for kind in ("ratio", "wald")}
    failures, refused, flagged, open_ends = 0.0, 0, 0, 0
    for number in range(fleets):
        random = np.random.default_rng([SEED, cell.lives, int(100 * cell.censored), number])
        data, x = fleet(cell.lives, years, random)
        failures += data.failures
        try:
            result = careful_fit(data, Family.WEIBULL, x, NAMES)
        except NotEstimable:
            refused += 1
            flagged += 1
            continue
        flagged += bool(result.warnings)
        for name, quantity in asked(result).items():
            ends = likelihood_ratio_limits(result, quantity)
            open_ends += None in ends
            held["ratio"][name] += holds(ends, true[name])
            held["wald"][name] += holds(wald_limits(result, quantity), true[name])
    return {
        "fleets": fleets,
        "lives": cell.lives,
        "censored_pct": round(100 * cell.censored),
        "mean_failures": round(failures / fleets, 1),
        "refused": refused,
        "flagged": flagged,
        "open_ends": open_ends,
        **{f"{kind}_{name}": count for kind in held for name, count in held[kind].items()},
    }


def holds(ends: tuple[float | None, float | None], value: float) -> bool:
    low, high = ends
    return (low is None or low <= value) and (high is None or value <= high)


def outside(count: int, fleets: int, low: float, high: float) -> bool:
    """Whether a count is beyond what chance does to a true coverage within (low, high).

    One in a thousand at each end: of the 27 counts of a study one would fail so by luck in
    about forty runs were every true coverage at an end, and hardly ever where it is not.
    """
    return bool(binom.cdf(count, fleets, low) < 1e-3 or binom.sf(count - 1, fleets, high) < 1e-3)


@pytest.fixture(scope="module")
def rows() -> list[dict[str, object]]:
    found = [study(cell, FLEETS) for cell in CELLS]
    with RESULTS.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, ["date", "seed", *found[0]])
        writer.writeheader()
        writer.writerows({"date": date.today().isoformat(), "seed": SEED, **row} for row in found)
    return found


@pytest.mark.parametrize(
    "number", range(len(CELLS)), ids=lambda i: f"{CELLS[i].lives}-{CELLS[i].censored:.0%}"
)
@pytest.mark.parametrize("name", ["shape", "b10", "exponent"])
def test_limits_hold_the_truth(rows, number, name):
    cell, row = CELLS[number], rows[number]
    count = row[f"ratio_{name}"]

    if cell.expected_failures < ENOUGH_FAILURES:
        assert count >= LOW_IF_FLAGGED * FLEETS
    else:
        assert not outside(count, FLEETS, LOW, HIGH), f"{count} of {FLEETS} held"


def test_cells_with_few_failures_are_flagged(rows):
    for cell, row in zip(CELLS, rows, strict=True):
        share = row["flagged"] / FLEETS
        if cell.expected_failures < ENOUGH_FAILURES:
            assert share > 0.95
        elif cell.expected_failures > 3 * ENOUGH_FAILURES:
            assert share < 0.02


def test_many_failures_make_wald_as_good(rows):
    for cell, row in zip(CELLS, rows, strict=True):
        if cell.expected_failures >= 100:
            for name in truth():
                assert not outside(row[f"wald_{name}"], FLEETS, LOW, HIGH)


def test_a_wrong_hessian_fails_the_gate(monkeypatch):
    right = problem_module.likelihood_sums

    def wrong(*arguments):
        value, gradient, hessian = right(*arguments)
        return value, gradient, 3 * hessian

    monkeypatch.setattr(problem_module, "likelihood_sums", wrong)
    fleets = 200
    row = study(Cell(lives=200, censored=0.6), fleets)

    assert row["refused"] == 0
    assert outside(row["wald_exponent"], fleets, LOW, HIGH)
    assert outside(row["wald_b10"], fleets, LOW, HIGH)
