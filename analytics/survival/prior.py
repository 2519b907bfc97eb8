"""What is known of a life before the data, when failures are few."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.errors import InputError

__all__ = ["Prior", "add_prior", "effect_precision"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    r"""What was known before the data, as a weak prior; stated with every result that used it.

    Attributes
    ----------
    shape_median : float
        Median of the prior on the shape 1 / sigma. [-]
    shape_factor : float
        95 % of the prior lies within the median times or divided by this factor, > 1. [-]
    effect_sd : float
        Standard deviation of the normal prior, about 0, on each covariate's effect divided
        by sigma (under a Weibull life the log hazard ratio), from one side to the other of a
        two-valued covariate, over two standard deviations of any other. inf: no prior. [-]
    """

    shape_median: float = 1.5
    shape_factor: float = 3.0
    effect_sd: float = np.inf

    def __post_init__(self) -> None:
        if not (self.shape_median > 0 and self.shape_factor > 1 and self.effect_sd > 0):
            raise InputError(
                "a prior needs shape_median > 0, shape_factor > 1 and effect_sd > 0, got "
                f"{self.shape_median!r}, {self.shape_factor!r}, {self.effect_sd!r}"
            )


def effect_precision(covariates: Array, spans: Array, prior: Prior | None) -> Array:
    """Give the precision of the prior on the scaled slopes of the search.

    Parameters
    ----------
    covariates : ndarray, shape (n, p)
        As given.
    spans : ndarray, shape (3, p)
        Mean, least and greatest value of each.
    prior : Prior or None
        The prior.

    Returns
    -------
    ndarray, shape (p,)
        0 without a prior. A slope of the search is per quarter of the covariate's range.
    """
    if prior is None or not np.isfinite(prior.effect_sd):
        return np.zeros(covariates.shape[1])
    _, low, high = spans
    two_valued = ((covariates == low) | (covariates == high)).all(axis=0)
    step = np.where(two_valued, high - low, 2 * covariates.std(axis=0))
    return np.asarray((step / ((high - low) / 4) / prior.effect_sd) ** 2)


def add_prior(
    prior: Prior,
    precision: Array,
    rho_unit: float | None,
    theta: Array,
    gradient: Array,
    hessian: Array,
) -> float:
    """Add the slopes of the log prior in place; gives its value, up to a constant.

    Parameters
    ----------
    prior : Prior
        The prior.
    precision : ndarray, shape (p,)
        Of the scaled slopes, from `effect_precision`.
    rho_unit : float or None
        The search's rho per 1 / sigma; None when sigma is not searched for.
    theta, gradient : ndarray, shape (p + 2,)
        Parameters of the search and the gradient to add to.
    hessian : ndarray, shape (p + 2, p + 2)
        The Hessian to add to.
    """
    value = 0.0
    if rho_unit is not None:
        rho = theta[-1]
        # 95 % of a normal lies within 1.96 standard deviations, here of the log shape.
        tightness = (1.959964 / np.log(prior.shape_factor)) ** 2
        off = float(np.log(rho / (prior.shape_median * rho_unit)))
        value -= tightness * off**2 / 2
        gradient[-1] -= tightness * off / rho
        hessian[-1, -1] -= tightness * (1 - off) / rho**2
    effects = theta[1:-1]
    places = np.arange(1, len(theta) - 1)
    gradient[places] -= precision * effects
    hessian[places, places] -= precision
    return float(value - precision @ effects**2 / 2)
