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
        Frequency of the defect in all records, and in the best quarter's practice. [-]
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
    about the fleet's p, worth c records, the same c for all checks,

    .. math:: q \mid d, c \sim \mathrm{Beta}(c p + d,\; c (1 - p) + r - d)

    with the spread between crews flat a priori: crews that differ by no more than luck would
    are drawn together.

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
    rng = np.random.default_rng(seed)
    c = rng.choice(_WORTH, size=(n_draws, 1), p=_likely(list(compared.values())))
    kept, fleet, best = {}, {}, {}
    for check, (d, r) in compared.items():
        p = float(d.sum() / r.sum())
        drawn = rng.beta(c * p + d, c * (1 - p) + r - d)
        quarter = _best_quarter(drawn[:, _yardsticks(r, names)])
        kept[check] = np.minimum(1.0, quarter / drawn)
        fleet[check], best[check] = p, float(np.median(quarter))
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


def _likely(counts: Sequence[tuple[Array, Array]]) -> Array:
    """Probability of each of `_WORTH`, by the beta-binomial likelihood of all checks."""
    # flat in the spread between crews, 1 / sqrt(c), which is 1 / sqrt(c) per log c
    log = -np.log(_WORTH) / 2
    for defects, records in counts:
        p = defects.sum() / records.sum()
        a, b = _WORTH[:, None] * p, _WORTH[:, None] * (1 - p)
        log += (betaln(a + defects, b + records - defects) - betaln(a, b)).sum(axis=1)
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())
