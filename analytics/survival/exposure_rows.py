r"""Which rows does the two-hazard likelihood add up? One per life; more where the duty changed.

A life of constant duty is one row. Where the duty changed, the log exposure of wear is laid
straight through the effects :math:`g_0` of the round before,

.. math::
    \log\psi(t; g) \approx \log\psi(t; g_0) - \bar x(t)'(g - g_0)

with :math:`\bar x` the covariates averaged over the exposure, so each of the things such a
life tells (that it lived so long, from its entry on, and how it ended) takes a row with
covariates and wear ages of its own. Value and slopes are then exact where the rounds end.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.survival.changing_duty import ChangingDuty, Used, used_life
from analytics.survival.lifetimes import Lifetimes

__all__ = ["ExposureRows", "exposure_rows", "plain_rows"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureRows:
    """Rows as the likelihood takes them.

    Attributes
    ----------
    source : ndarray of int, shape (rows,)
        Life behind each row.
    log_ages, wear_log_ages : ndarray, shape (3, rows)
        Log of entry, lower and upper age, as the installation and as wear sees them. [log years]
    pace : ndarray, shape (rows,)
        Log of the hazard of wear per log age over shape times its cumulative hazard: 0 at
        constant duty. [-]
    weight : ndarray, shape (rows,)
        Weights; those of rows that take an entry off are negative. [-]
    wear : ndarray, shape (rows, r)
        Wear covariates. [any]
    """

    source: NDArray[np.int64]
    log_ages: Array
    wear_log_ages: Array
    pace: Array
    weight: Array
    wear: Array


def plain_rows(lives: Lifetimes, wear: Array) -> ExposureRows:
    """Give one row per life at constant duty."""
    with np.errstate(divide="ignore"):
        log_ages = np.log(np.stack([lives.entry, lives.lower, lives.upper]))
    return ExposureRows(
        source=np.arange(len(lives)),
        log_ages=log_ages,
        wear_log_ages=log_ages,
        pace=np.zeros(len(lives)),
        weight=np.ascontiguousarray(lives.weight),
        wear=wear,
    )


def exposure_rows(
    lives: Lifetimes, wear: Array, duty: ChangingDuty, effects: Array, shape: float
) -> ExposureRows:
    """Give the rows of lives some of whose duties changed.

    Parameters
    ----------
    lives : Lifetimes
        n lives.
    wear : ndarray, shape (n, r)
        Wear covariates of the others. [any]
    duty : ChangingDuty
        Those that changed.
    effects : ndarray, shape (r,)
        Effects g of the round before. [1/unit]
    shape : float
        Weibull shape of wear of the round before. [-]

    Returns
    -------
    ExposureRows
        The n lives in order, those that changed without entry and without ending; then one
        row per late entry, per exact failure and per failure in an interval.
    """
    at = duty.row
    entry, lower, upper = lives.entry[at], lives.lower[at], lives.upper[at]
    exact, late = lives.exact[at], entry > 0
    interval = lives.ended[at] & ~exact
    whole = plain_rows(lives, wear.copy())
    log_ages, wear_ages = whole.log_ages.copy(), whole.log_ages.copy()

    def seen(used: Used, covariates: Array) -> Array:
        """Log age of wear that goes with these covariates."""
        return np.asarray(used.log_exposure + covariates @ effects)

    with np.errstate(divide="ignore"):
        before, low, high = (
            used_life(duty, age, effects) for age in (entry, lower, np.where(interval, upper, 1.0))
        )
        log_ages[:, at] = _until(np.log(lower))
    wear_ages[:, at] = _until(seen(low, low.mean))
    whole.wear[at] = low.mean
    # The hazard of wear, beta psi^(beta - 1) psi', leans on the duty at the end as well,
    leaning = low.mean + (low.last - low.mean) / shape
    # and what it adds within an interval is the difference of two exposures.
    grown = np.exp(shape * (low.log_exposure - high.log_exposure))[:, None]
    between = (high.mean - grown * low.mean) / np.where(interval[:, None], 1 - grown, 1.0)
    with np.errstate(divide="ignore"):
        within = _within(np.log(lower[interval]), np.log(upper[interval]))
    extra = [
        (late, _until(np.log(entry[late])), _until(seen(before, before.mean)[late]), before.mean),
        (exact, _at(np.log(lower[exact])), _at(seen(low, leaning)[exact]), leaning),
        (
            interval,
            within,
            _within(seen(low, between)[interval], seen(high, between)[interval]),
            between,
        ),
    ]
    rise = np.log(lower[exact]) - (low.last @ effects + low.log_exposure)[exact]
    sources = [at[which] for which, *_ in extra]
    return ExposureRows(
        source=np.concatenate([whole.source, *sources]),
        log_ages=np.hstack([log_ages, *(ages for _, ages, _, _ in extra)]),
        wear_log_ages=np.hstack([wear_ages, *(ages for _, _, ages, _ in extra)]),
        pace=np.r_[whole.pace, np.zeros(late.sum()), rise, np.zeros(interval.sum())],
        weight=np.concatenate(
            [whole.weight, -whole.weight[sources[0]], *(whole.weight[s] for s in sources[1:])]
        ),
        wear=np.vstack([whole.wear, *(covariates[which] for which, _, _, covariates in extra)]),
    )


def _until(log_age: Array) -> Array:
    """Rows that lived to an age: from new, never ended."""
    return np.stack([np.full(log_age.size, -np.inf), log_age, np.full(log_age.size, np.inf)])


def _at(log_age: Array) -> Array:
    """Rows of a hazard alone: entered and failed at one age."""
    return np.tile(log_age, (3, 1))


def _within(low: Array, high: Array) -> Array:
    """Rows that entered at the lower age and failed by the upper one."""
    return np.stack([low, low, high])
