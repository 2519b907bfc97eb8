"""Could events without any trend have come like this? Four tests."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, kendalltau, norm

from analytics.survival.histories import Histories, gaps
from analytics.survival.power_law import fit_power_law

__all__ = ["TrendTests", "cramer_von_mises_p_value", "trend_tests"]

Array = NDArray[np.float64]

SIMULATED = 20_000
LARGEST_SIMULATED = 200
LARGEST_EXACT = 250


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTests:
    """Tests of "no trend" on the events of one or more systems.

    Attributes
    ----------
    laplace, laplace_p_value : float
        Laplace statistic, standard normal without trend, below 0 when events thin out;
        two-sided p-value. [-]
    chi_square, chi_square_degrees_of_freedom, chi_square_p_value : float
        Chi-square statistic 2 S of MIL-HDBK-189, large when events thin out; two-sided
        p-value. [-]
    cramer_von_mises, cramer_von_mises_p_value : float
        Misfit of the power law itself, and the probability of a larger one if it holds;
        NaN below three counted events. [-]
    reverse_arrangements : float
        Pairs of gaps of one system of which the later is longer. [-]
    reverse_arrangement_z, reverse_arrangement_p_value : float
        As NIST standardises them; two-sided p-value, exact up to 250 gaps. [-]
    """

    laplace: float
    laplace_p_value: float
    chi_square: float
    chi_square_degrees_of_freedom: float
    chi_square_p_value: float
    cramer_von_mises: float
    cramer_von_mises_p_value: float
    reverse_arrangements: float
    reverse_arrangement_z: float
    reverse_arrangement_p_value: float


def trend_tests(data: Histories) -> TrendTests:
    r"""Test the events of one or more systems for trend.

    .. math::
        U = \frac{\sum t_i - \sum_q M_q T_q / 2}{\sqrt{\sum_q M_q T_q^2 / 12}}, \quad
        \chi^2_{2M} = 2 \sum \log (T_q / t_i)

    Parameters
    ----------
    data : Histories
        Event times and ends.

    Returns
    -------
    TrendTests
        Statistics and p-values.

    Raises
    ------
    NotEstimable
        If no event has a free time.

    Notes
    -----
    The event that closed a watch is no free time and does not enter Laplace's test.
    Equal gaps count as no reversal.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4 (all but Cramer-von Mises).
    .. [2] MIL-HDBK-189C (Cramer-von Mises; formula from memory).
    """
    fit = fit_power_law(data)
    free = data.counted
    end = data.end[data.system[free]] / fit.end
    surplus = (data.share[free] - 0.5) * end
    laplace = float(surplus.sum() / np.sqrt((end**2).sum() / 12))
    degrees = 2 * fit.counted_events
    chi_square = 2 * fit.log_sum
    misfit = float(_cramer_von_mises(np.sort(data.share[free]), fit.shape_unbiased))
    arrangements = _reverse_arrangements(gaps(data))
    return TrendTests(
        laplace=laplace,
        laplace_p_value=float(2 * norm.sf(abs(laplace))),
        chi_square=chi_square,
        chi_square_degrees_of_freedom=float(degrees),
        chi_square_p_value=_two_sided(chi2.cdf(chi_square, degrees), chi2.sf(chi_square, degrees)),
        cramer_von_mises=misfit,
        cramer_von_mises_p_value=cramer_von_mises_p_value(misfit, fit.counted_events),
        reverse_arrangements=arrangements[0],
        reverse_arrangement_z=arrangements[1],
        reverse_arrangement_p_value=arrangements[2],
    )


def cramer_von_mises_p_value(statistic: float, counted_events: int) -> float:
    """Give the probability of a larger misfit if the power law holds.

    The statistic's distribution depends on the number of events alone; it is drawn with
    a fixed seed, so the answer is the same every time.

    Parameters
    ----------
    statistic : float
        Cramer-von Mises statistic with the unbiased shape. [-]
    counted_events : int
        Events with a free time, M. [-]

    Returns
    -------
    float
        Probability, to about 0.003; NaN below three events. [-]
    """
    if counted_events < 3:
        return float("nan")
    # Beyond 200 events the distribution no longer changes noticeably.
    drawn = _misfits_under_the_law(min(counted_events, LARGEST_SIMULATED))
    larger = SIMULATED - int(np.searchsorted(drawn, statistic))
    return (1 + larger) / (1 + SIMULATED)


def _cramer_von_mises(shares: Array, shape: float | Array) -> Array:
    """Misfit along the last axis: 1 / 12M + sum (share^shape - (2i - 1) / 2M)^2."""
    count = shares.shape[-1]
    middle = (2 * np.arange(1, count + 1) - 1) / (2 * count)
    return np.asarray(1 / (12 * count) + ((shares**shape - middle) ** 2).sum(axis=-1))


@lru_cache(maxsize=32)
def _misfits_under_the_law(count: int) -> Array:
    """Draw the statistic for a number of events, ascending."""
    shares = np.sort(np.random.default_rng(61164).random((SIMULATED, count)), axis=1)
    shape = (count - 1) / -np.log(shares).sum(axis=1, keepdims=True)
    return np.sort(_cramer_von_mises(shares, shape))


def _reverse_arrangements(gap_lists: list[Array]) -> tuple[float, float, float]:
    """Count, NIST's z and the two-sided p-value, summed over systems."""
    sizes = np.array([part.size for part in gap_lists], dtype=float)
    count = float(sum(_longer_later(part) for part in gap_lists))
    mean = (sizes * (sizes - 1) / 4).sum()
    variance = ((2 * sizes + 5) * (sizes - 1) * sizes / 72).sum()
    if variance <= 0:
        return count, float("nan"), float("nan")
    z = float((count - mean + 0.5) / np.sqrt(variance))
    if sizes.sum() > LARGEST_EXACT:
        return count, z, float(2 * norm.sf(abs(count - mean) / np.sqrt(variance)))
    law = np.ones(1)
    for size in sizes.astype(int):
        for factor in range(2, size + 1):
            law = np.convolve(law, np.full(factor, 1 / factor))
    return count, z, _two_sided(law[: int(count) + 1].sum(), law[int(count) :].sum())


def _longer_later(part: Array) -> int:
    """Count pairs of which the later is longer."""
    # Gaps are differences of times: what differs by rounding alone is equal.
    gap = np.round(part / (1e-12 * part.sum())) if part.size else part
    if gap.size <= LARGEST_EXACT:
        return int(np.count_nonzero(np.triu(gap[None, :] > gap[:, None], 1)))
    # Too many to lay out in a square: back from Kendall's tau-b, in n log n steps.
    ties = np.unique(gap, return_counts=True)[1].astype(float)
    pairs = gap.size * (gap.size - 1) / 2
    unequal = pairs - (ties * (ties - 1) / 2).sum()
    if unequal == 0:
        return 0
    tau = float(kendalltau(np.arange(gap.size), gap, method="asymptotic").statistic)
    return int(round((unequal + tau * np.sqrt(pairs * unequal)) / 2))


def _two_sided(below: float, above: float) -> float:
    return float(min(1.0, 2 * min(below, above)))
