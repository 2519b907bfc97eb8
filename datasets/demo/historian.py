"""The pressure historian: irregular samples whose turning points are the true cycles."""

from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from datasets.demo.places import BY_CODE
from datasets.demo.world import EXPORT, ORIGIN, day

__all__ = ["write_historian"]

SAMPLES = 5_000
"""Samples aimed at per position; a fast cycler gets a shorter record instead of a thinner one."""
BEGINS = day("2023-10-01")


def write_historian(folder: Path, positions: pd.DataFrame, rng: np.random.Generator) -> None:
    """Write `pressure/` by calendar year for three positions in four.

    A cycle is a plateau near the operating pressure, then a valley. Plateau levels are such
    that 5 % of the time lies above the position's true operating pressure. One position has a
    gap of 12 weeks, one a stuck reading for 40 days, and one, 18 days before the export, a
    pressure above any mark's tolerance that its disc withstood.
    """
    covered = positions[rng.random(len(positions)) < 0.75]
    pieces = [
        _one(k, float(place.true_cycles), float(place.true_pressure), rng)
        for k, place in enumerate(covered.itertuples())
    ]
    _spoil(pieces, covered)
    codes = np.concatenate([np.full(len(days), k, np.int32) for k, days, _ in pieces])
    days = np.concatenate([days for _, days, _ in pieces])
    values = np.concatenate([values for _, _, values in pieces]).astype(np.float32)
    names = covered["position_id"].tolist()
    folder.mkdir(parents=True, exist_ok=True)
    stamps = (ORIGIN.astype("datetime64[s]") + (days * 86_400).astype("timedelta64[s]")).astype(
        "datetime64[ms]"
    )
    years = stamps.astype("datetime64[Y]").astype(int) + 1970
    for year in np.unique(years):
        pick = years == year
        table = pa.table(
            {
                "position_id": pa.DictionaryArray.from_arrays(pa.array(codes[pick]), names),
                "time": pa.array(stamps[pick]),
                "pressure [barg]": pa.array(values[pick].astype(float).round(4)),
            }
        )
        pq.write_table(table, folder / f"history-{year}.parquet", compression="zstd")


def _one(
    number: int, cycles: float, pressure: float, rng: np.random.Generator
) -> tuple[int, np.ndarray, np.ndarray]:
    """Sample one position: per cycle a rise, a plateau of at least two points, a fall."""
    span = min(EXPORT - BEGINS, SAMPLES / 4 / cycles * 365.25, 1095)
    start = EXPORT - span
    count = max(int(round(cycles * span / 365.25)), 1)
    edges = np.sort(rng.uniform(0, span, count - 1)) if count > 1 else np.empty(0)
    edges = 0.5 * edges + 0.5 * np.linspace(0, span, count + 1)[1:-1]
    begin = np.concatenate([[0.0], edges])
    length = np.diff(np.concatenate([begin, [span]]))
    inside = np.clip(np.round(length / span * SAMPLES).astype(int), 3, None)
    high = pressure * (1 + 0.02 * (rng.standard_normal(count) - 1.44))
    low = pressure * rng.uniform(0.25, 0.62, count)
    cycle = np.repeat(np.arange(count), inside + 1)
    step = np.arange(len(cycle)) - np.repeat(np.cumsum(inside + 1) - inside - 1, inside + 1)
    # Sampled evenly: a long valley has rows of its own, or it would look like a gap.
    share = step / (inside[cycle] + 1)
    valley = (step == 0) | (share < 0.18)
    moments = start + begin[cycle] + share * length[cycle]
    noise = 1 + 0.0012 * rng.uniform(-1, 1, len(cycle))
    return number, moments, np.where(valley, low[cycle], high[cycle]) * noise


def _spoil(pieces: list[tuple[int, np.ndarray, np.ndarray]], covered: pd.DataFrame) -> None:
    """Cut 12 weeks out of one record, let another stick, raise a third above its disc's limit."""
    long = [k for k, (_, days, _) in enumerate(pieces) if days[-1] - days[0] > 700]
    number, days, values = pieces[long[3]]
    keep = (days < day("2025-02-03")) | (days > day("2025-04-28"))
    pieces[long[3]] = (number, days[keep], values[keep])
    number, days, values = pieces[long[8]]
    stuck = (days > day("2025-09-10")) & (days < day("2025-10-20"))
    values[stuck] = values[np.argmax(stuck)]
    number, days, values = pieces[long[12]]
    disc = BY_CODE[covered["disc_code"].iloc[long[12]]]
    values[np.searchsorted(days, EXPORT - 18)] = 1.12 * disc.burst * (1 + disc.plus_pct / 100)
