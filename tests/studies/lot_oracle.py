"""How many bad lots could anyone find? The most powerful test, by one who knows every true law.

The likelihood ratio of the lot's true law against its lives divided by the true factor, read at
the third failure, with the alarm line that lets through the stated rate of good lots: by Neyman
and Pearson no rule that decides by the third failure finds more at that rate.
"""

import numpy as np
import pandas as pd
from early_fleets import World, simulate, true_law

from analytics.survival.law import cumulative_hazard, hazard

FIRST = 3


def at_third_failure(lives: pd.DataFrame, factor: float) -> np.ndarray:
    """Log likelihood ratio of each lot that had a third failure, on that day."""
    failed = lives["ended_on"].where(lives["ending"].eq("premature"))
    rank = failed.groupby(lives["lot"]).rank(method="first")
    day = lives["lot"].map(failed[rank.eq(FIRST)].groupby(lives["lot"]).first())
    then = np.minimum(lives["ended_on"], day) - lives["installed_on"]
    age = np.maximum(then.dt.total_seconds().fillna(0).to_numpy() / 86_400 / 365.25, 1e-9)
    law = true_law(lives)
    gained = np.log(factor * _rate(law, factor * age) / _rate(law, age))
    spent = (cumulative_hazard(law, factor * age) - cumulative_hazard(law, age))[0]
    ratio = pd.Series(np.where(failed <= day, gained, 0.0) - spent, index=lives.index)
    return ratio[day.notna()].groupby(lives["lot"]).sum().to_numpy()


def _rate(law, age: np.ndarray) -> np.ndarray:
    return np.asarray(sum(part[0] for part in hazard(law, age)))


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
