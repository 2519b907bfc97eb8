"""How often would each defect occur if every crew fitted as the best quarter of them does?

Judged by what the install records say was done, never by how long the discs lived: a crew is
not good because it was lucky. Frequencies of few records are drawn towards the fleet's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaln

from analytics.errors import NotEstimable

__all__ = ["FEWEST_CREWS", "FEWEST_RECORDS", "BestPractice", "best_practice"]

FEWEST_RECORDS = 20
"""A crew with fewer records of a check is no yardstick for it. Our choice."""

FEWEST_CREWS = 4
"""A quarter of fewer crews than this is not one crew. Our choice."""

_WORTH = np.geomspace(1.0, 1e4, 121)
"""What the fleet's frequency may be worth beside a crew's own records. [records]"""

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
    fleet, best : dict of str to float
        Frequency of the defect in all records, and in those of the best quarter, shrunken. [-]
    """

    crews: tuple[str, ...]
    kept: dict[str, Array]
    fleet: dict[str, float]
    best: dict[str, float]


def best_practice(
    lives: pd.DataFrame, checks: Sequence[str], *, n_draws: int, seed: int = 0
) -> BestPractice:
    r"""Learn from the install records what the best quarter of the crews does better.

    A crew's frequency of a defect, d of r records, is taken as one of a beta distribution
    about the fleet's p, worth c records,

    .. math:: q \mid d, c \sim \mathrm{Beta}(c p + d,\; c (1 - p) + r - d)

    with log c flat a priori: crews that differ by no more than luck would are drawn together.

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
    rng = np.random.default_rng(seed)
    kept, fleet, best = {}, {}, {}
    for check in checks:
        recorded = lives[check].notna()
        counts = pd.DataFrame({"r": recorded, "d": recorded & ~lives[check].fillna(True)})
        counts = counts.groupby(crew).sum().reindex(names).astype(float)
        r, d = counts["r"].to_numpy(), counts["d"].to_numpy()
        yardstick = (r >= FEWEST_RECORDS) & (np.array(names) != "")
        if yardstick.sum() < FEWEST_CREWS or not 0 < d.sum() < r.sum():
            continue
        p = float(d.sum() / r.sum())
        c = rng.choice(_WORTH, size=(n_draws, 1), p=_likely(d, r, p))
        frequency = ((c * p + d) / (c + r)).mean(axis=0)
        quarter = _best_quarter(frequency, yardstick)
        drawn = rng.beta(c * p + d, c * (1 - p) + r - d)
        kept[check] = np.minimum(1.0, drawn[:, quarter].mean(axis=1, keepdims=True) / drawn)
        kept[check][:, quarter] = 1.0
        fleet[check], best[check] = p, float(frequency[quarter].mean())
    if not kept:
        raise NotEstimable(
            f"the best quarter's practice needs {FEWEST_CREWS} named crews with at least "
            f"{FEWEST_RECORDS} records of one check each"
        )
    return BestPractice(crews=names, kept=kept, fleet=fleet, best=best)


def _best_quarter(frequency: Array, yardstick: NDArray[np.bool_]) -> NDArray[np.intp]:
    """The crews of the lowest frequencies, a quarter of the yardsticks rounded up."""
    order = np.flatnonzero(yardstick)[np.argsort(frequency[yardstick], kind="stable")]
    return order[: -(-order.size // 4)]


def _likely(defects: Array, records: Array, frequency: float) -> Array:
    """Probability of each of `_WORTH`, by the beta-binomial likelihood of all crews."""
    a, b = _WORTH[:, None] * frequency, _WORTH[:, None] * (1 - frequency)
    log = (betaln(a + defects, b + records - defects) - betaln(a, b)).sum(axis=1)
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())
