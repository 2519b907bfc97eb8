r"""Do the discs of a lot live shorter than like discs of other lots? Evidence by likelihood ratio.

A bad lot does not only fail more often: it fails at ages at which discs of its duty hardly
fail. Lives divided by c against lives as the model has them give, over events i and lives j,

.. math::
    \Lambda_c = \prod_i \frac{c\,h(c t_i)}{h(t_i)}
        \exp\Big(-\sum_j \big[H(c t_j) - H(c e_j) - H(t_j) + H(e_j)\big]\Big)

Over calendar time this is a martingale while the lot is as others are, so the chance that it
ever passes 1/p is at most p, however often one looks. A count of failures has neither merit.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.survival.law import LifeLaw, cumulative_hazard, hazard

__all__ = ["SHORTENED", "shorter_lives"]

SHORTENED = (4.0,)
"""By what a bad lot is taken to divide life, weighed alike when several. Watching for one
factor finds lots near it sooner; the price is slower evidence against a lot cut by half."""

_SHORTEST_YEARS = 1 / 365.25
"""A falling hazard is infinite at age 0: an age of 0 counts as a day. [years]"""

Array = NDArray[np.float64]


def shorter_lives(
    label: pd.Series, events: Array, law: LifeLaw, *, entry_years: Array, age_years: Array
) -> pd.Series:
    """Give each group's evidence for shorter lives as a p-value that holds at any time.

    Parameters
    ----------
    label : Series of str, one per life
        Lot of each life; lives without one are left out.
    events : ndarray, shape (n_lives,)
        Premature failures, parts of one where unclear. [-]
    law : LifeLaw
        Life of each disc by the fleet's model, shape (n_draws, n_lives).
    entry_years, age_years : ndarray, shape (n_lives,)
        Ages between which each life was watched. [years]

    Returns
    -------
    Series of float, indexed by group
        One over the mean of the ratios for `SHORTENED`, at most 1. [-]

    References
    ----------
    .. [1] J. Ville, "Etude critique de la notion de collectif" (1939): the inequality. From
       memory, unverified.
    """
    age = np.maximum(age_years, _SHORTEST_YEARS)
    entry = np.minimum(entry_years, age)
    rate, watched = _hazard(law, age), _cumulative(law, age) - _cumulative(law, entry)
    ratios = []
    for factor in SHORTENED:
        gained = np.log(factor * _hazard(law, factor * age) / rate)
        paid = _cumulative(law, factor * age) - _cumulative(law, factor * entry) - watched
        ratios.append(pd.Series(events * gained - paid).groupby(label.to_numpy()).sum())
    best = np.logaddexp.reduce(np.array(ratios), axis=0) - np.log(len(SHORTENED))
    return pd.Series(np.exp(-np.maximum(best, 0.0)), index=ratios[0].index)


def _hazard(law: LifeLaw, age: Array) -> Array:
    return np.asarray(sum(part.mean(axis=0) for part in hazard(law, age)))


def _cumulative(law: LifeLaw, age: Array) -> Array:
    return np.asarray(cumulative_hazard(law, age).mean(axis=0))
