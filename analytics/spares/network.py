r"""Where should the next piece lie: in a site store or in the central one?

Site stores draw on a central store one for one; the central store's pieces come
back after its lead time. A site waits for its own shipping time and for its
share of what the central store owes:

.. math::
    X_i = \text{Poisson}(\lambda_i r_i T_i + \lambda_i (1 - r_i) O_i)
        + \text{Binomial}(B_0, \lambda_i (1 - r_i) / \lambda_0)

Taken as it is this is exact (for shipping times that do not vary); with the
right mean and a Poisson law it is METRIC, with the right mean and variance and
a negative binomial law VARI-METRIC.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import binom, nbinom

from analytics.spares.base_stock import StockMeasures, poisson_pmf, stock_measures
from analytics.spares.policy import expected_shortage

__all__ = ["Method", "Site", "place_pieces", "site_pipeline", "site_service"]

Array = NDArray[np.float64]


class Method(Enum):
    """How the pieces a site waits for are distributed."""

    EXACT = "exact"
    METRIC = "Poisson of the right mean"
    VARI_METRIC = "negative binomial of the right mean and variance"


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """A store that draws on the central one.

    Attributes
    ----------
    name : str
        The store.
    demand : float
        Pieces asked for. [1/years]
    shipping_years : float
        Central store to site, when a piece is there. [years]
    local_share : float
        Share of the demand that is made good on site; 0 for discs, which are
        not repaired. [-]
    local_years : float
        Time that takes. [years]
    """

    name: str
    demand: float
    shipping_years: float
    local_share: float = 0.0
    local_years: float = 0.0

    @property
    def drawn(self) -> float:
        """Pieces asked of the central store. [1/years]."""
        return self.demand * (1 - self.local_share)


def site_pipeline(
    sites: Sequence[Site],
    which: int,
    central_years: float,
    central_level: int,
    method: Method = Method.EXACT,
) -> Array:
    """Give the distribution of the pieces one site waits for.

    Parameters
    ----------
    sites : sequence of Site
        All that draw on the central store.
    which : int
        The site asked about.
    central_years : float
        Lead time of the central store. [years]
    central_level : int
        Its stock level, >= 0. [-]
    method : Method
        Exact or one of the two classical approximations.

    Returns
    -------
    ndarray, shape (n_counts,)
        Probabilities of 0, 1, 2 ... pieces. [-]

    References
    ----------
    .. [1] Sherbrooke, C. C. (1968), "METRIC: a multi-echelon technique for recoverable item
       control", Operations Research 16, 122-141.
    .. [2] Graves, S. C. (1985), "A multi-echelon inventory model for a repairable item with
       one-for-one replenishment", Management Science 31, 1247-1256.
    .. [3] Simon, R. M. (1971), "Stationary properties of a two-echelon inventory model for low
       demand items", Operations Research 19, 761-773.
    """
    site = sites[which]
    total = sum(each.drawn for each in sites)
    share = site.drawn / total if total > 0 else 0.0
    under_way = poisson_pmf(total * central_years)
    own = site.demand * site.local_share * site.local_years + site.drawn * site.shipping_years
    if method is Method.EXACT:
        return np.convolve(poisson_pmf(own), _thinned(under_way, central_level, share))
    owed = stock_measures(under_way, central_level)
    mean = own + share * owed.backorders
    if method is Method.METRIC:
        return poisson_pmf(mean)
    excess = share**2 * (owed.backorder_variance - owed.backorders)
    return _negative_binomial(mean, mean + excess)


def site_service(
    sites: Sequence[Site],
    levels: Sequence[int],
    central_years: float,
    central_level: int,
    method: Method = Method.EXACT,
) -> tuple[StockMeasures, ...]:
    """Work out what the levels of all stores give at each site.

    Parameters
    ----------
    sites, central_years, central_level, method
        As for `site_pipeline`.
    levels : sequence of int
        Stock level of each site. [-]

    Returns
    -------
    tuple of StockMeasures
        One per site.
    """
    return tuple(
        stock_measures(site_pipeline(sites, which, central_years, central_level, method), level)
        for which, level in enumerate(levels)
    )


def place_pieces(sites: Sequence[Site], central_years: float, most: int) -> pd.DataFrame:
    """Find the best place for every number of pieces from 0 to `most`.

    For each level of the central store the rest is given, piece by piece, to
    the site where it takes away most backorders, which is best because they
    fall ever more slowly; the best central level is then chosen.

    Parameters
    ----------
    sites : sequence of Site
        All that draw on the central store.
    central_years : float
        Lead time of the central store. [years]
    most : int
        Largest number of pieces, >= 0. [-]

    Returns
    -------
    DataFrame
        `pieces backorders central` and one column per site: the levels that
        leave fewest expected backorders at the sites together.
    """
    names = [site.name for site in sites]
    best = [(np.inf, 0, np.zeros(len(sites), dtype=np.int64))] * (most + 1)
    for central in range(most + 1):
        losses = [
            _backorders(site_pipeline(sites, which, central_years, central), most - central)
            for which in range(len(sites))
        ]
        for given, levels, owed in _greedy(losses, most - central):
            if owed < best[central + given][0] - 1e-12:
                best[central + given] = (owed, central, levels)
    return pd.DataFrame(
        [
            {
                "pieces": pieces,
                "backorders": owed,
                "central": central,
                **dict(zip(names, levels.tolist(), strict=True)),
            }
            for pieces, (owed, central, levels) in enumerate(best)
        ]
    )


def _greedy(losses: list[Array], most: int) -> list[tuple[int, NDArray[np.int64], float]]:
    levels = np.zeros(len(losses), dtype=np.int64)
    steps = [(0, levels.copy(), float(sum(loss[0] for loss in losses)))]
    for given in range(1, most + 1):
        gains = [loss[level] - loss[level + 1] for loss, level in zip(losses, levels, strict=True)]
        levels[int(np.argmax(gains))] += 1
        steps.append((given, levels.copy(), steps[-1][2] - max(gains)))
    return steps


def _backorders(pipeline: Array, most: int) -> Array:
    """Expected backorders at levels 0 .. most + 1."""
    padded = np.pad(pipeline, (0, most + 2))
    return expected_shortage(padded)[: most + 2]


def _thinned(under_way: Array, level: int, share: float) -> Array:
    """Law of a site's share of what the central store owes."""
    owed = np.concatenate([[under_way[: level + 1].sum()], under_way[level + 1 :]])
    counts = np.arange(len(owed))
    return np.asarray(owed @ binom.pmf(counts[None, :], counts[:, None], share))


def _negative_binomial(mean: float, variance: float) -> Array:
    if variance <= mean * (1 + 1e-12):
        return poisson_pmf(mean)
    chance = mean / variance
    size = mean * chance / (1 - chance)
    largest = int(nbinom.isf(1e-16, size, chance)) + 2
    return np.asarray(nbinom.pmf(np.arange(largest + 1), size, chance))
