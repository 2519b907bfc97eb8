"""How many bad lots could anyone find? The most powerful test, by one who knows every true law.

The likelihood ratio of the lot's true law against its lives divided by the true factor, read at
the third failure, with the alarm line that lets through the stated rate of good lots: by Neyman
and Pearson no rule that decides by the third failure finds more at that rate.
"""

import numpy as np
import pandas as pd
from early_fleets import World, simulate, true_law

from analytics.early.lot_evidence import LotLives, log_evidence

FIRST = 3


def at_third_failure(lives: pd.DataFrame, factor: float) -> np.ndarray:
    """Log likelihood ratio of each lot that had a third failure."""
    _, number = np.unique(lives["lot"].to_numpy(dtype=str), return_inverse=True)
    ended = (lives["ended_on"] - pd.Timestamp(0)).dt.total_seconds().to_numpy() / 86_400 / 365.25
    age = lives["age_years"].to_numpy()
    watched = LotLives(
        lot=number,
        events=lives["ending"].eq("premature").to_numpy(dtype=float),
        entry_years=np.zeros(len(age)),
        age_years=age,
        born_years=ended - age,
    )
    first, _ = log_evidence(watched, true_law(lives), from_event=FIRST, factors=(factor,))
    return first[np.isfinite(first)]


def oracle_finds(
    world: dict, factor: float, *, per_year: float, fleets: int, first_seed: int
) -> float:
    """Share of bad lots with a third failure that the oracle flags at it."""
    good = np.concatenate(
        [at_third_failure(simulate(World(**world), first_seed + s), factor) for s in range(fleets)]
    )
    let_through = int(per_year * World().years * fleets)
    line = np.sort(good)[::-1][let_through] if good.size > let_through else -np.inf
    bad = []
    for seed in range(first_seed + fleets, first_seed + 2 * fleets):
        lives = simulate(World(**world, bad_lot=True, shortened=factor), seed)
        bad.append(at_third_failure(lives[lives["lot"].eq("BAD")], factor))
    return float((np.concatenate(bad) > line).mean())
