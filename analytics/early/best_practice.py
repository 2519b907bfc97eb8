"""How often would each defect occur if every crew fitted as the best quarter of them does?

Judged by what the install records say was done, never by how long the discs lived: a crew is
not good because it was lucky. Which crews are the best quarter is not known for sure either:
each draw of `crew_practice` ranks them anew, check by check, and takes the mean of its own best.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.crew_practice import practice_draws
from analytics.errors import NotEstimable
from analytics.estimate import Estimate, from_draws

__all__ = ["FEWEST_CREWS", "FEWEST_RECORDS", "BestPractice", "best_practice"]

FEWEST_RECORDS = 10
"""A crew with fewer records of a check is no yardstick for it. Our choice: enough to be one of
the plant's crews. How little so few records tell is in the draws, and need not be cut off."""

FEWEST_CREWS = 4
"""A quarter of fewer crews than this is not one crew. Our choice."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestPractice:
    """The best quarter's practice, check by check.

    Attributes
    ----------
    crews : tuple of str
        Crews, the unnamed one as "".
    kept : dict of str to ndarray, shape (n_draws, n_crews)
        Check to the chance that a defect of it would have been there all the same: the best
        quarter's frequency over the crew's own, at most 1. [-]
    fleet : dict of str to float
        Frequency of the defect in all records. [-]
    best : dict of str to Estimate
        Frequency of the defect in the best quarter's practice. [-]
    """

    crews: tuple[str, ...]
    kept: dict[str, Array]
    fleet: dict[str, float]
    best: dict[str, Estimate]


def best_practice(
    lives: pd.DataFrame, checks: Sequence[str], *, n_draws: int, seed: int = 0
) -> BestPractice:
    """Learn from the install records what the best quarter of the crews does better.

    Asked is the mean true frequency, check by check, of the quarter of the crews whose true
    frequency is lowest, of the crews with records enough; a crew already better stays as it is.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `crew` and the checks.
    checks : sequence of str
        Checks to compare.
    n_draws, seed : int
        Draws of the frequencies and their seed.

    Returns
    -------
    BestPractice
        For the checks that at least `FEWEST_CREWS` named crews recorded `FEWEST_RECORDS` times
        each; the best quarter of those is the yardstick.

    Raises
    ------
    NotEstimable
        If no check has that.
    """
    crew = lives["crew"].fillna("").astype(str)
    names = tuple(sorted(crew.unique()))
    counts = {check: _counts(lives[check], crew, names) for check in checks}
    compared = {
        check: (d, r)
        for check, (d, r) in counts.items()
        if 0 < d.sum() < r.sum() and _yardsticks(r, names).sum() >= FEWEST_CREWS
    }
    if not compared:
        raise NotEstimable(
            f"the best quarter's practice needs {FEWEST_CREWS} named crews with at least "
            f"{FEWEST_RECORDS} records of one check each"
        )
    defects, records = (np.stack([each[part] for each in compared.values()]) for part in (0, 1))
    drawn = practice_draws(defects.T, records.T, n_draws=n_draws, seed=seed)
    kept, fleet, best = {}, {}, {}
    for k, (check, (d, r)) in enumerate(compared.items()):
        own = drawn[:, :, k]
        quarter = _best_quarter(own[:, _yardsticks(r, names)])
        kept[check] = np.minimum(1.0, quarter / np.maximum(own, np.finfo(float).tiny))
        fleet[check], best[check] = float(d.sum() / r.sum()), from_draws(quarter[:, 0])
    return BestPractice(crews=names, kept=kept, fleet=fleet, best=best)


def _counts(check: pd.Series, crew: pd.Series, names: Sequence[str]) -> tuple[Array, Array]:
    """Defects and records of each crew."""
    recorded = check.notna()
    found = pd.DataFrame({"d": recorded & ~check.fillna(True), "r": recorded})
    sums = found.groupby(crew).sum().reindex(list(names)).astype(float)
    return sums["d"].to_numpy(), sums["r"].to_numpy()


def _yardsticks(records: Array, names: Sequence[str]) -> NDArray[np.bool_]:
    """The named crews with records enough."""
    return np.asarray((records >= FEWEST_RECORDS) & (np.array(names) != ""), dtype=bool)


def _best_quarter(drawn: Array) -> Array:
    """Mean frequency of the best quarter of the crews, rounded up, in each draw: (n_draws, 1).

    Which crews those are is drawn with their frequencies: neither the luck of the best on
    record nor the drawing together of all is taken for practice.
    """
    quarter = -(-drawn.shape[1] // 4)
    return np.asarray(np.sort(drawn, axis=1)[:, :quarter].mean(axis=1, keepdims=True))
