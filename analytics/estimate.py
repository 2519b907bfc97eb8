"""A number with its interval: the form in which every estimate leaves the models."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

__all__ = ["Estimate", "from_draws"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """An estimate and the limits it came with.

    Attributes
    ----------
    estimate : float
        The number itself, in the unit its owner names.
    low, high : float
        Two-sided limits, 95 % unless the owner says otherwise.
    """

    estimate: float
    low: float
    high: float


def from_draws(draws: ArrayLike, *, confidence: float = 0.95) -> Estimate:
    """Summarise parameter draws by their median and equal-tailed limits.

    Parameters
    ----------
    draws : array_like, shape (n_draws,)
        Draws of one quantity, any unit.
    confidence : float, default 0.95
        Two-sided level, strictly between 0 and 1. [-]

    Returns
    -------
    Estimate
        Median and limits, in the unit of `draws`.

    Raises
    ------
    ValueError
        If there are no draws, any is NaN, or `confidence` is outside (0, 1).

    Examples
    --------
    >>> from_draws([1.0, 2.0, 3.0], confidence=0.5)
    Estimate(estimate=2.0, low=1.5, high=2.5)
    """
    values = np.asarray(draws, dtype=float)
    if values.size == 0 or np.isnan(values).any():
        raise ValueError(f"draws must be one or more numbers without NaN, got {values.size} draws")
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie in (0, 1), got {confidence!r}")
    tail = (1 - confidence) / 2
    low, middle, high = np.quantile(values, [tail, 0.5, 1 - tail])
    return Estimate(estimate=float(middle), low=float(low), high=float(high))
