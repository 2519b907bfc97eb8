"""Do the limits cover the truth as often as they say, over many demo fleets?"""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.duty.history import scan_logs
from analytics.ledger import Ledger
from analytics.logs.reading import read_logs
from analytics.plant import read_plant
from analytics.survival.fleet_data import CYCLES, RATIO
from analytics.survival.two_hazard_shares import share_owed
from datasets.demo import demo_truth, make_demo

pytestmark = pytest.mark.study

SEEDS = range(1, 21)
RESULTS = Path(__file__).parent / "results" / "demo_recovery.csv"
TORQUE = {"torque_not_low": "torque_low", "torque_not_high": "torque_high"}


def recovered(seed: int, folder: Path) -> list[dict[str, object]]:
    make_demo(folder, seed)
    truth = demo_truth(seed)
    logs = read_logs(folder)
    plant = read_plant(logs, scan_logs(folder, logs.tables), Ledger(), n_draws=400, seed=1)
    fit = plant.fitted.model.two_hazard
    found = fit.estimates
    share = share_owed(plant.fitted.model.hazard_draws, plant.fitted.data.data).total_share
    known = truth.parameters
    pairs = {
        "installation shape": (found.install_shape, known.install_shape),
        "wear shape": (found.wear_shape, known.wear_shape),
        "ratio exponent": (found.wear_effects[RATIO], -known.ratio_exponent),
        "cycle exponent": (found.wear_effects[CYCLES], -known.cycle_exponent),
        "share owed": (share, truth.share_owed),
        **{
            name: (effect, known.defect_effects[TORQUE.get(name, name)])
            for name, effect in found.defect_effects.items()
        },
    }
    return [
        {
            "seed": seed,
            "parameter": name,
            "truth": value,
            "estimate": estimate.estimate,
            "low": estimate.low,
            "high": estimate.high,
            "covered": estimate.low <= value <= estimate.high,
        }
        for name, (estimate, value) in pairs.items()
    ]


def test_limits_cover_and_shares_are_right(tmp_path: Path):
    rows = [row for seed in SEEDS for row in recovered(seed, tmp_path / str(seed))]
    table = pd.DataFrame(rows)
    summary = table.groupby("parameter", sort=False).agg(
        fleets=("covered", "size"),
        coverage=("covered", "mean"),
        mean_error=("estimate", lambda x: float((x - table.loc[x.index, "truth"]).mean())),
        rms_error=(
            "estimate",
            lambda x: float(np.sqrt(((x - table.loc[x.index, "truth"]) ** 2).mean())),
        ),
    )
    RESULTS.parent.mkdir(exist_ok=True)
    summary.assign(seeds=f"{SEEDS.start}-{SEEDS.stop - 1}", run=date.today()).round(4).to_csv(
        RESULTS
    )

    assert table["covered"].mean() >= 0.90
    assert summary.loc["share owed", "rms_error"] < 0.05
    assert abs(summary.loc["share owed", "mean_error"]) < 0.02
