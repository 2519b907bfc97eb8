"""Computed demand against a million played-out futures of every case.

Run with `pytest -m study tests/studies/test_spares_simulation.py`; `SPARES_RUNS` sets the number.
"""

import os
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "spares"))

from demand_cases import CASES  # noqa: E402
from demand_simulator import simulate  # noqa: E402

from analytics.spares.demand import forecast_demand  # noqa: E402

pytestmark = pytest.mark.study

RUNS = int(os.environ.get("SPARES_RUNS", "1000000"))
SEED = 20251125
WEEKS = (13, 26, 52, 78, 104)
RESULTS = Path(__file__).parent / "results" / "spares_simulation.csv"


@pytest.mark.parametrize("name", CASES)
def test_computed_demand_is_what_a_million_futures_show(name):
    positions, hits = CASES[name]
    group = forecast_demand(positions, hits).groups[0]
    played = simulate(positions, hits, runs=RUNS, weeks=WEEKS, fitting_loss=0.03, seed=SEED)

    computed = np.minimum(np.cumsum(group.pmf[list(WEEKS)], axis=1), 1.0)
    counts = np.arange(computed.shape[1])
    seen = np.array([(played.used[:, [j]] <= counts).mean(axis=0) for j in range(len(WEEKS))])
    sigma = np.sqrt(computed * (1 - computed) / RUNS)
    enough = RUNS * computed * (1 - computed) > 25
    gap = np.abs(seen - computed)
    sigmas = float((gap[enough] / sigma[enough]).max())
    _write(name, sigmas, float(gap.max()))

    assert (gap[enough] <= 4.5 * sigma[enough]).all()
    spread = played.used.std(axis=0) / np.sqrt(RUNS)
    assert (np.abs(played.used.mean(axis=0) - group.mean[list(WEEKS)]) <= 4.5 * spread).all()


def _write(name: str, sigmas: float, gap: float) -> None:
    row = {
        "case": name,
        "date": date.today().isoformat(),
        "seed": SEED,
        "runs": RUNS,
        "largest_gap_sigmas": round(sigmas, 2),
        "largest_gap": round(gap, 6),
    }
    old = pd.read_csv(RESULTS) if RESULTS.exists() else pd.DataFrame(columns=list(row))
    kept = old[old["case"] != name]
    pd.DataFrame([*kept.to_dict("records"), row]).to_csv(RESULTS, index=False)
