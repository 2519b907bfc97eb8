"""How are the discs fitted that come after a failure?

Unlike one another: most clean, some with a defect, a few with several. Of unlike discs fewer
fail than of as many discs of the mean hazard, since the worst fail first and only once. So the
installs on record are brought into a few kinds of like hazard, and each kind is renewed as such.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.survival.two_hazard_draws import TwoHazardDraws, install_log_ratio, log_defect_ratio

__all__ = ["KINDS", "Followers", "followers"]

KINDS = 4
"""Kinds of install told apart. With four defects on a tenth to a sixth of the installs, which
double to quintuple the hazard, the chance of an installation failure within six years is then
2 % of itself too high; with one kind, the mean hazard, 30 %."""

_DRAWN = 20_000
"""Installs looked at: an unrecorded check is drawn for each."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Followers:
    """Kinds of install by what their defects do to the hazards.

    Attributes
    ----------
    weight : ndarray, shape (K,)
        Part of the installs that is of each kind; they sum to 1. [-]
    early, late : ndarray, shape (n_draws, K)
        Log ratio of the installation and of the wear hazard to a clean disc's. [-]
    """

    weight: Array
    early: Array
    late: Array


def followers(draws: TwoHazardDraws, practice: Array) -> Followers:
    """Bring the installs of a practice into kinds of like hazard.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    practice : ndarray, shape (n, J) or (J,)
        Chance of each defect, a row per install; 0 or 1 where it is on record. [-]

    Returns
    -------
    Followers
        At most `KINDS`, bounded at even steps of the mean log ratio.
    """
    rows = np.atleast_2d(practice)
    n_draws, checks = len(draws.install_shape), rows.shape[1]
    if checks == 0:
        none = np.zeros((n_draws, 1))
        return Followers(weight=np.ones(1), early=none, late=none)
    many = rows[np.linspace(0, len(rows) - 1, _DRAWN).round().astype(int)]
    found = np.random.default_rng(0).random(many.shape) < many
    _, first, count = np.unique(
        found @ 2 ** np.arange(checks), return_index=True, return_counts=True
    )
    patterns = found[first].astype(float)
    early = install_log_ratio(draws, patterns)
    late = log_defect_ratio(draws.wear_defect_effects, patterns)
    kind = _kinds(early.mean(axis=0))
    member = (kind[:, None] == np.unique(kind)) * count[:, None].astype(float)
    of = member.sum(axis=0)
    return Followers(
        weight=of / of.sum(),
        early=np.log(np.exp(early) @ member / of),
        late=np.log(np.exp(late) @ member / of),
    )


def _kinds(log_ratio: Array) -> NDArray[np.intp]:
    """Number the kinds by even steps between the least and the greatest log ratio."""
    width = max(float(np.ptp(log_ratio)), 1e-9)
    step = (log_ratio - log_ratio.min()) / width * KINDS
    return np.asarray(np.minimum(step.astype(np.intp), KINDS - 1), dtype=np.intp)
