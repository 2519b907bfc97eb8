"""The demo: one seed makes the world, its history, its logs and its truth."""

import json
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from datasets.demo.dirt import add_dirt, lose_records
from datasets.demo.historian import write_historian
from datasets.demo.lives import World, live_through, make_upsets, pick_bad_lot
from datasets.demo.places import make_lots, make_outages, make_positions
from datasets.demo.records import (
    disc_table,
    install_table,
    outage_table,
    position_table,
    removal_table,
)
from datasets.demo.storeroom import make_orders, make_stock
from datasets.demo.truth import Parameters, Truth
from datasets.demo.world import EXPORT, LOG_BEGINS, PROGRAMME, TITLE, iso
from datasets.demo.writing import write_tables

__all__ = ["SEED", "demo_truth", "make_demo", "write_truth"]

SEED = 20260930


@dataclass(frozen=True, slots=True)
class _Run:
    positions: pd.DataFrame
    outages: pd.DataFrame
    lots: pd.DataFrame
    fitted: pd.DataFrame
    ended: pd.DataFrame
    bad_lot: str


def make_demo(folder: Path, seed: int = SEED) -> None:
    """Write the demo's log folder: tables, `logs.toml` and the `pressure/` historian.

    Parameters
    ----------
    folder : Path
        Folder to write into; made if missing.
    seed : int
        The same seed writes the same logs.
    """
    run = _run(seed)
    positions, lots = run.positions, run.lots
    installs = install_table(run.fitted, run.ended, np.random.default_rng([seed, 10]))
    removals = removal_table(run.ended, positions, np.random.default_rng([seed, 11]))
    tables = {
        "positions": position_table(positions),
        "discs": disc_table(),
        "installs": installs,
        "removals": removals,
        "stock": make_stock(
            positions, run.outages, lots, run.bad_lot, np.random.default_rng([seed, 12])
        ),
        "orders": make_orders(positions, run.outages, np.random.default_rng([seed, 13])),
        "turnarounds": outage_table(run.outages),
    }
    lose_records(tables, np.random.default_rng([seed, 14]))
    add_dirt(tables, np.random.default_rng([seed, 15]))
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    write_tables(folder, tables)
    (folder / "logs.toml").write_text(
        f'title = "{TITLE}"\ncurrency = "EUR"\n'
        f"log_begins = {iso(LOG_BEGINS)}\nexport_date = {iso(EXPORT)}\n"
        f'\n[[programmes]]\nname = "installation programme"\nstarts_on = {iso(PROGRAMME)}\n',
        encoding="utf-8",
    )
    write_historian(folder / "pressure", positions, np.random.default_rng([seed, 16]))


def demo_truth(seed: int = SEED) -> Truth:
    """Give the truth behind `make_demo(folder, seed)`; for tests only."""
    run = _run(seed)
    parameters = Parameters()
    lives = run.fitted.merge(
        run.ended.drop(columns=["last_good_on", "event_group"]),
        on=["position_id", "installed_on"],
        how="left",
    )
    lives["found_on"] = lives["found_on"].fillna(EXPORT)
    lives["ending"] = lives["kind"].fillna("in_service")
    lives = lives[lives["found_on"] >= LOG_BEGINS].reset_index(drop=True)
    lives["age_years"] = (lives["found_on"] - lives["installed_on"]) / 365.25
    lives["entry_years"] = (LOG_BEGINS - lives["installed_on"]).clip(lower=0) / 365.25
    lives["owed"] = _owed(lives, parameters)
    premature = lives["ending"].isin(["premature", "unclear premature"])
    known = run.positions.set_index("position_id")
    return Truth(
        parameters=parameters,
        lives=lives,
        share_owed=float(lives.loc[premature, "owed"].mean()),
        bad_lot=run.bad_lot,
        cycles_per_year=known["true_cycles"].to_dict(),
        operating_pressure_barg=known["true_pressure"].to_dict(),
    )


def write_truth(path: Path, seed: int = SEED) -> None:
    """Write the truth as JSON, to a place outside the log folder."""
    truth = demo_truth(seed)
    Path(path).write_text(
        json.dumps(
            {
                "seed": seed,
                "parameters": asdict(truth.parameters),
                "share_owed": truth.share_owed,
                "bad_lot": truth.bad_lot,
                "endings": truth.lives["ending"].value_counts().to_dict(),
                "cycles_per_year": truth.cycles_per_year,
                "operating_pressure_barg": truth.operating_pressure_barg,
            },
            indent=1,
        ),
        encoding="utf-8",
    )


@lru_cache(maxsize=2)
def _run(seed: int) -> _Run:
    positions = make_positions(np.random.default_rng([seed, 1]))
    outages = make_outages(np.random.default_rng([seed, 2]))
    lots = make_lots(np.random.default_rng([seed, 3]))
    bad_lot = pick_bad_lot(lots, positions)
    world = World(
        parameters=Parameters(),
        outages={g: f["starts_on"].to_numpy() for g, f in outages.groupby("turnaround_group")},
        lots={code: f.reset_index(drop=True) for code, f in lots.groupby("disc_code")},
        upsets=make_upsets(positions, np.random.default_rng([seed, 4])),
        bad_lot=bad_lot,
    )
    fitted, ended = live_through(positions, world, np.random.default_rng([seed, 5]))
    return _Run(positions, outages, lots, fitted, ended, bad_lot)


def _owed(lives: pd.DataFrame, parameters: Parameters) -> pd.Series:
    """Expected share of a failure at this age owed to its defects."""
    age = lives["pace"] * lives["age_years"].clip(lower=0.5 / 365.25)
    shape, wear = parameters.install_shape, parameters.wear_shape
    found = shape * np.exp(lives["log_rate"]) * age ** (shape - 1)
    clean = shape * np.exp(parameters.install_log_rate) * age ** (shape - 1)
    worn = wear / lives["scale"] * (age / lives["scale"]) ** (wear - 1)
    return (found - clean) / (found + worn)
