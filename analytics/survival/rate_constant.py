"""How sure is the rate constant of a power-law process? Likelihood-ratio limits."""

from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq
from scipy.stats import chi2

from analytics.errors import InputError
from analytics.estimate import Estimate
from analytics.survival.histories import Histories
from analytics.survival.power_law import PowerLaw

__all__ = ["rate_constant_limits"]

FARTHEST = 500.0


def rate_constant_limits(data: Histories, fit: PowerLaw, *, confidence: float = 0.95) -> Estimate:
    r"""Give the rate constant with its limits, the shape left free.

    .. math::
        2\{\ell(\hat\lambda, \hat\beta) - \max_\beta \ell(\lambda, \beta)\}
        = \chi^2_{1,\,1-\alpha}

    Parameters
    ----------
    data : Histories
        Event times and ends.
    fit : PowerLaw
        The process fitted to them.
    confidence : float, default 0.95
        Two-sided level. [-]

    Returns
    -------
    Estimate
        Maximum likelihood rate constant and limits. [time^-shape]

    Raises
    ------
    InputError
        If `confidence` lies outside (0, 1).

    Notes
    -----
    A limit more than a factor e^500 from the estimate is given as 0 or inf.
    The rate constant is the expected number of events by time 1, in whatever unit time has;
    where 1 lies far from the events the limits are wide, though the rate itself is well known.
    """
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
    drop = float(chi2.ppf(confidence, 1)) / 2
    longest = float(np.log(data.end.max()))
    centre = float(np.log(fit.events / np.sum((data.end / data.end.max()) ** fit.shape)))
    centre -= fit.shape * longest

    def short(log_rate: float) -> float:
        return fit.log_likelihood - _profile(data, fit, log_rate) - drop

    with np.errstate(over="ignore", under="ignore"):
        low, high = (float(np.exp(_crossing(short, centre, side))) for side in (-1.0, 1.0))
    return Estimate(estimate=fit.rate_constant, low=low, high=high)


def _profile(data: Histories, fit: PowerLaw, log_rate: float) -> float:
    """Log-likelihood at a rate constant, the shape at its best for it."""
    log_end, log_time = np.log(data.end), float(np.log(data.time).sum())
    events = data.time.size

    def expected(shape: float) -> np.ndarray:
        return np.asarray(np.exp(np.minimum(log_rate + shape * log_end, 650.0)))

    def score(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return events / shape + log_time - float(expected(shape) @ log_end)

    middle = float(np.log(fit.shape))
    bottom = max(min(middle, -log_rate) - 50, -700.0)  # there events / shape outweighs all else
    best = float(np.exp(brentq(score, bottom, middle + 50, xtol=1e-14)))
    spread = events * (log_rate + float(np.log(best))) + (best - 1) * log_time
    return spread - float(expected(best).sum())


def _crossing(short: Callable[[float], float], centre: float, side: float) -> float:
    reach = 0.1
    while short(centre + side * reach) < 0:
        reach *= 2
        if reach > FARTHEST:
            return side * np.inf
    return float(brentq(short, centre, centre + side * reach, xtol=1e-12))
