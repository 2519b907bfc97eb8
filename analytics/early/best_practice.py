"""How often would each defect occur if every crew fitted as the best quarter of them does?

Judged by what the install records say was done, never by how long the discs lived: a crew is
not good because it was lucky. Frequencies of few records are drawn towards the fleet's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaln, gammaln

from analytics.errors import NotEstimable

__all__ = ["FEWEST_CREWS", "FEWEST_RECORDS", "BestPractice", "best_practice"]

FEWEST_RECORDS = 20
"""A crew with fewer records of a check is no yardstick for it. Our choice."""

FEWEST_CREWS = 4
"""A quarter of fewer crews than this is not one crew. Our choice."""

_WORTH = np.geomspace(1.0, 1e4, 121)
"""What the usual frequency may be worth beside a crew's own records. [records]"""

_MOST = 0.95
"""Highest usual frequency of a defect."""

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

    A crew careful in one check is likely to be in others. Its care m, from all its O defects
    where the fleet's frequencies p expect E, and its frequency q of each defect, d of r records,

    .. math::
        m \mid O, a \sim \mathrm{Gamma}(a + O,\; a + E), \quad
        q \mid d, m, c \sim \mathrm{Beta}(c m p + d,\; c (1 - m p) + r - d)

    with the spreads between crews, 1/sqrt(a), and between checks, 1/sqrt(c), flat a priori:
    what differs by no more than luck would is drawn together.

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
    care = _care(list(compared.values()), n_draws, rng)
    c = rng.choice(_WORTH, size=(n_draws, 1), p=_likely(list(compared.values()), care.mean(axis=0)))
    kept, fleet, best = {}, {}, {}
    for check, (d, r) in compared.items():
        p = float(d.sum() / r.sum())
        usual = np.minimum(p * care, _MOST)
        drawn = rng.beta(c * usual + d, c * (1 - usual) + r - d)
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


def _care(counts: Sequence[tuple[Array, Array]], n_draws: int, rng: np.random.Generator) -> Array:
    """Draw each crew's defects over those expected at the fleet's frequencies, (n_draws, n)."""
    found = np.sum([d for d, _ in counts], axis=0)
    expected = np.sum([r * d.sum() / r.sum() for d, r in counts], axis=0)
    a = _WORTH[:, None]
    part = a / (a + expected)
    log = gammaln(a + found) - gammaln(a) + a * np.log(part) + found * np.log1p(-part)
    weight = _weights(np.where(expected > 0, log, 0.0).sum(axis=1))
    a = rng.choice(_WORTH, size=(n_draws, 1), p=weight)
    return np.asarray(rng.gamma(a + found) / (a + expected))


def _likely(counts: Sequence[tuple[Array, Array]], care: Array) -> Array:
    """Probability of each of `_WORTH`, by the beta-binomial likelihood of all checks."""
    log = np.zeros(_WORTH.size)
    for defects, records in counts:
        usual = np.minimum(care * defects.sum() / records.sum(), _MOST)
        a, b = _WORTH[:, None] * usual, _WORTH[:, None] * (1 - usual)
        log += (betaln(a + defects, b + records - defects) - betaln(a, b)).sum(axis=1)
    return _weights(log)


def _weights(log_likelihood: Array) -> Array:
    """Probabilities on `_WORTH`, flat in the spread: 1 / sqrt(worth) per log of the worth."""
    log = log_likelihood - np.log(_WORTH) / 2
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())
