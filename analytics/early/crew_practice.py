r"""How often does each crew leave each defect, and how sure is that?

From the install records alone. A crew careful in one check is likely to be in others: its care m,
common to all checks, and its frequency q of each defect are

.. math::
    m \mid a \sim \mathrm{Gamma}(a, a), \quad
    q \mid m, c \sim \mathrm{Beta}(c m p,\; c (1 - m p)), \quad
    d \mid q \sim \mathrm{Binomial}(r, q)

with d defects in r records and p the frequency of all crews. What differs by no more than luck
would is drawn together. How far crews differ, 1/sqrt(a), and how far the checks of one crew do,
1/sqrt(c), are flat a priori and integrated over, not set to what is likeliest: with few crews the
records do not tell them well. A check nobody recorded has r = 0 and says nothing either way.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaln, xlogy

__all__ = ["practice_draws"]

_WORTH = np.geomspace(1.0, 1e4, 33)
"""What a and c may be. [records]"""

_STEPS = 64
"""Steps of the root of a crew's care from 0 to 1: the root of a count has an even error."""

_ROOT = np.arange(1, 5 * _STEPS // 2) / _STEPS
"""Roots of the care looked at. [-]"""

_MOST = 0.95
"""Highest usual frequency of a defect."""

Array = NDArray[np.float64]


def practice_draws(defects: Array, records: Array, *, n_draws: int, seed: int) -> Array:
    """Draw every crew's frequency of every defect given the records of all.

    Parameters
    ----------
    defects, records : ndarray, shape (n_crews, n_checks)
        Defects found and records of each check; of each check some defect and some pass. [-]
    n_draws, seed : int
        Draws and their seed.

    Returns
    -------
    ndarray, shape (n_draws, n_crews, n_checks)
        Frequencies. [-]

    Notes
    -----
    The integrals over care are sums on a grid; the frequencies are then drawn exactly.
    """
    rng = np.random.default_rng(seed)
    usual = defects.sum(axis=0) / records.sum(axis=0)
    likelihood, prior = _likelihood(defects, records, usual), _prior()
    a, c = _draw_spreads(likelihood, prior, n_draws, rng)
    worth = _WORTH[c]
    drawn = np.empty((n_draws, *defects.shape))
    for crew, (found, of) in enumerate(zip(defects, records, strict=True)):
        root = _draw_roots(likelihood[crew, c] * prior[a], rng)
        for check, p in enumerate(usual):
            before = worth * np.minimum(root**2 * p, _MOST)
            passed = worth - before + of[check] - found[check]
            drawn[:, crew, check] = rng.beta(before + found[check], passed)
    return drawn


def _likelihood(defects: Array, records: Array, usual: Array) -> Array:
    """Beta-binomial likelihood of each crew's records by c and care, up to a factor per crew."""
    log = np.zeros((len(defects), _WORTH.size, _ROOT.size))
    for found, of, p in zip(defects.T, records.T, usual, strict=True):
        before = _WORTH[:, None] * np.minimum(_ROOT**2 * p, _MOST)
        passed = _WORTH[:, None] - before
        rest = (of - found)[:, None, None]
        log += betaln(before + found[:, None, None], passed + rest) - betaln(before, passed)
    return np.asarray(np.exp(log - log.max(axis=(1, 2), keepdims=True)))


def _prior() -> Array:
    """Probability of each root of the care for each a, shape (n_worth, n_roots)."""
    a, care = _WORTH[:, None], _ROOT**2
    # Gamma(a, a) in the care is this in its root
    log = xlogy(2 * a - 1, _ROOT) - a * care
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _draw_spreads(
    likelihood: Array, prior: Array, n_draws: int, rng: np.random.Generator
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Draw the places of a and c in `_WORTH`, both spreads flat: worth^-1/2 per log of worth."""
    crews = np.log(np.maximum(likelihood @ prior.T, np.finfo(float).tiny))
    log = crews.sum(axis=0) - (np.log(_WORTH)[:, None] + np.log(_WORTH)) / 2
    weight = np.exp(log - log.max()).ravel()
    c, a = np.divmod(rng.choice(weight.size, n_draws, p=weight / weight.sum()), _WORTH.size)
    return a, c


def _draw_roots(weight: Array, rng: np.random.Generator) -> Array:
    """Draw a root from each row of weights, evenly within its step."""
    reached = np.cumsum(weight, axis=1)
    at = (reached < rng.random((len(reached), 1)) * reached[:, -1:]).sum(axis=1)
    return np.asarray(_ROOT[at] + (rng.random(len(at)) - 0.5) / _STEPS)
