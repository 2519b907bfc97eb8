r"""How much of its life has a disc used when its duty changed on the way?

Wear goes by cumulative exposure: a stretch at covariates x uses life up at the pace
:math:`e^{-x'g}`, so that at age t

.. math::
    \psi(t) = \int_0^t e^{-x(u)'g}\,du, \qquad H_{wear}(t) = (\psi(t) / e^m)^\beta

and the disc remembers how much is gone, not how it went.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.survival.lifetimes import Lifetimes
from analytics.survival.stretches import Stretches, stretches

__all__ = ["ChangingDuty", "Used", "as_stretches", "equivalent_duty", "take_lives", "used_life"]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangingDuty:
    """The lives whose duty changed, stretch by stretch.

    Attributes
    ----------
    row : ndarray of int, shape (m,)
        Row of each in the data of all n lives, ascending.
    stop : ndarray, shape (m, K)
        Age at which each stretch ends, ascending; +inf from the last one on. [years]
    design : ndarray, shape (m, K, r)
        Wear covariates of each stretch; the last one's are repeated. [any]
    at_end : ndarray, shape (m, r)
        The constant duty that gives the hazard of each life at its end. [any]
    """

    row: Whole
    stop: Array
    design: Array
    at_end: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """What m lives of changing duty have used at some age.

    Attributes
    ----------
    log_exposure : ndarray, shape (m,)
        Log of the exposure, -inf at age 0. [log years]
    mean : ndarray, shape (m, r)
        Covariates averaged over the exposure: minus the slope of its log by g. [any]
    last : ndarray, shape (m, r)
        Covariates at that age. [any]
    """

    log_exposure: Array
    mean: Array
    last: Array


def used_life(duty: ChangingDuty, age_years: ArrayLike, effects: ArrayLike) -> Used:
    """Add up the life used at an age.

    Parameters
    ----------
    duty : ChangingDuty
        m lives.
    age_years : array_like, shape (m,)
        One finite age per life, >= 0. [years]
    effects : array_like, shape (r,)
        Change of log life per unit of each covariate, g. [1/unit]

    Returns
    -------
    Used

    Examples
    --------
    >>> step = ChangingDuty(
    ...     row=np.array([0]), stop=np.array([[2.0, np.inf]]),
    ...     design=np.array([[[0.0], [1.0]]]), at_end=np.zeros((1, 1)))
    >>> float(np.exp(used_life(step, [5.0], [-np.log(2)]).log_exposure[0]).round(9))
    8.0
    """
    age = np.asarray(age_years, dtype=float)[:, None]
    start = np.column_stack([np.zeros(len(age)), duty.stop[:, :-1]])
    start = np.where(np.isfinite(start), start, age)
    within = np.clip(np.minimum(duty.stop, age) - start, 0.0, None)
    used = within * np.exp(-duty.design @ np.asarray(effects, dtype=float))
    total = used.sum(axis=1)
    share = np.where(total[:, None] > 0, used / np.where(total > 0, total, 1.0)[:, None], 0.0)
    share[total <= 0, 0] = 1.0
    now = np.minimum((duty.stop < age).sum(axis=1), duty.stop.shape[1] - 1)
    with np.errstate(divide="ignore"):
        log_exposure = np.log(total)
    return Used(
        log_exposure=log_exposure,
        mean=np.einsum("mk,mkr->mr", share, duty.design),
        last=duty.design[np.arange(len(age)), now],
    )


def equivalent_duty(
    duty: ChangingDuty, age_years: ArrayLike, effects: ArrayLike, shape: float
) -> tuple[Array, Array]:
    r"""Give the constant duties that stand for a changing one at an age.

    Parameters
    ----------
    duty : ChangingDuty
        m lives.
    age_years : array_like, shape (m,)
        One age per life, > 0. [years]
    effects : array_like, shape (r,)
        Change of log life per unit of each covariate, g. [1/unit]
    shape : float
        Weibull shape of wear, beta. [-]

    Returns
    -------
    same_exposure, same_hazard : ndarray, shape (m, r)
        The duty that would have used as much life by that age,
        :math:`x'g = -\log(\psi/t)`, and the one that gives the hazard at that age,
        :math:`x'g = -\log(\psi/t) - \log(t\psi'/\psi)/\beta`. Of the duties that do,
        the one nearest the average over the exposure. [any]
    """
    age, g = np.asarray(age_years, dtype=float), np.asarray(effects, dtype=float)
    used = used_life(duty, age, g)
    varies = np.ptp(duty.design, axis=1).any(axis=0)
    along = np.where(varies, g, 0.0)
    length = float(along @ along)
    if length == 0:
        return used.mean, used.mean
    log_pace = used.log_exposure - np.log(age)
    log_rise = -used.last @ g - log_pace
    wanted = np.stack([-log_pace, -log_pace - log_rise / shape])
    exposure, hazard = used.mean + ((wanted - used.mean @ g) / length)[:, :, None] * along
    return exposure, hazard


def take_lives(duty: ChangingDuty | None, keep: ArrayLike, n: int) -> ChangingDuty | None:
    """Keep the lives of some rows of n, in the order given; a row may come twice."""
    if duty is None:
        return None
    place = np.full(n, -1)
    place[duty.row] = np.arange(len(duty.row))
    chosen = place[np.asarray(keep)]
    if (chosen < 0).all():
        return None
    taken = chosen[chosen >= 0]
    return ChangingDuty(
        row=np.flatnonzero(chosen >= 0),
        stop=duty.stop[taken],
        design=duty.design[taken],
        at_end=duty.at_end[taken],
    )


def as_stretches(duty: ChangingDuty, design: Array, lives: Lifetimes) -> Stretches:
    """Lay out the duty of all lives, the unchanging ones as one stretch each.

    Parameters
    ----------
    duty : ChangingDuty
        m of the n lives.
    design : ndarray, shape (n, r)
        Covariates of the others.
    lives : Lifetimes
        The n lives.

    Returns
    -------
    Stretches
        For `fit_exposure`.
    """
    n = len(lives)
    steady = np.setdiff1d(np.arange(n), duty.row)
    end = np.where(lives.ended, lives.upper, lives.lower) + 1.0
    start = np.column_stack([np.zeros(len(duty.row)), duty.stop[:, :-1]])
    which, step = np.nonzero(np.isfinite(start))
    after = np.maximum(end[duty.row[which]], start[which, step] + 1.0)
    stop = np.where(np.isfinite(duty.stop[which, step]), duty.stop[which, step], after)
    return stretches(
        np.r_[steady, duty.row[which]],
        np.r_[np.zeros(len(steady)), start[which, step]],
        np.r_[end[steady], stop],
        np.vstack([design[steady], duty.design[which, step]]),
        lives,
    )
