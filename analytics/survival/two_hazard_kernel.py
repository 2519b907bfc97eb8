r"""Log-likelihood of two added Weibull hazards, with its first and second derivatives.

The cumulative hazard of a row at age t, with log age :math:`x = \log(t / t_0)` and the log
age y that wear sees (x itself where the duty never changed), is

.. math::
    H(t) = e^{\xi + k x} + e^{\zeta + \beta y}

Each row contributes, with its weight, :math:`H(\text{entry})` plus

- exact: :math:`\log h(t) - H(t)`, where the hazard of wear per log age is
  :math:`\beta e^{\zeta + \beta y + p}` with p the row's pace, 0 at constant duty
- right-censored: :math:`-H(\text{lower})`
- interval (left-censored when lower is 0): :math:`\log(S(\text{lower}) - S(\text{upper}))`
"""

import numba
import numpy as np
from numpy.typing import NDArray

__all__ = ["N_TERMS", "row_terms"]

Array = NDArray[np.float64]

N_TERMS = 15
"""Values per row: [0] log-likelihood; [1:5] its first derivatives by q = (xi, k, zeta, beta);
then the upper triangle of the second derivatives row by row: [5] xi xi, [6] xi k, [7] xi zeta,
[8] xi beta, [9] k k, [10] k zeta, [11] k beta, [12] zeta zeta, [13] zeta beta, [14] beta beta."""


@numba.njit(cache=True, error_model="numpy")
def row_terms(
    log_ages: Array,
    wear_log_ages: Array,
    pace: Array,
    weight: Array,
    install_level: Array,
    install_shape: float,
    wear_level: Array,
    wear_shape: float,
    out: Array,
) -> float:
    """Fill `out` with each row's derivatives and return the log-likelihood.

    Parameters
    ----------
    log_ages : ndarray, shape (3, n)
        Log of entry, lower and upper age over the reference age; -inf for age 0, upper +inf
        when right-censored, upper equal to lower when exact. [-]
    wear_log_ages : ndarray, shape (3, n)
        The same as wear sees them. [-]
    pace : ndarray, shape (n,)
        Added to the log hazard of wear of the exact rows. [-]
    weight : ndarray, shape (n,)
        Weight of each row. [-]
    install_level, wear_level : ndarray, shape (n,)
        xi and zeta, log cumulative hazards at the reference age. [-]
    install_shape, wear_shape : float
        k and beta. [-]
    out : ndarray, shape (15, n) or (0, 0)
        Filled as described at `N_TERMS`; an empty array asks for the value only.

    Returns
    -------
    float
        Weighted log-likelihood of the log ages of the exact rows and of the probabilities of
        the others. [-]
    """
    total = 0.0
    terms = np.zeros(N_TERMS)
    slope = np.zeros(4)
    for i in range(weight.size):
        terms[:] = 0.0
        entry, lower, upper = log_ages[0, i], log_ages[1, i], log_ages[2, i]
        worn = wear_log_ages[:, i]
        xi, zeta = install_level[i], wear_level[i]
        if entry > -np.inf:
            _add_cumulative(
                terms,
                1.0,
                np.exp(xi + install_shape * entry),
                np.exp(zeta + wear_shape * worn[0]),
                entry,
                worn[0],
            )
        install_0, wear_0, log_0, worn_0 = 0.0, 0.0, 0.0, 0.0
        if lower > -np.inf:
            install_0 = np.exp(xi + install_shape * lower)
            wear_0 = np.exp(zeta + wear_shape * worn[1])
            log_0, worn_0 = lower, worn[1]
            _add_cumulative(terms, -1.0, install_0, wear_0, log_0, worn_0)
        if upper == lower:
            wear_0 *= np.exp(pace[i])
            _add_log_hazard(
                terms, install_0, wear_0, install_shape, wear_shape, lower, worn_0, slope
            )
        elif upper < np.inf:
            install_1 = np.exp(xi + install_shape * upper)
            wear_1 = np.exp(zeta + wear_shape * worn[2])
            slope[0], slope[2] = install_1 - install_0, wear_1 - wear_0
            slope[1] = install_1 * upper - install_0 * log_0
            slope[3] = wear_1 * worn[2] - wear_0 * worn_0
            gap = slope[0] + slope[2]
            ratio = 1.0 / np.expm1(gap)
            # log(1 - exp(-gap)): its slopes by gap are ratio and -(ratio + ratio^2)
            value = terms[0] + np.log(-np.expm1(-gap))
            _add_cumulative(terms, ratio, install_1, wear_1, upper, worn[2])
            _add_cumulative(terms, -ratio, install_0, wear_0, log_0, worn_0)
            _add_outer(terms, -(ratio + ratio * ratio), slope)
            terms[0] = value
        total += weight[i] * terms[0]
        if out.shape[0] > 0:
            for j in range(N_TERMS):
                out[j, i] = weight[i] * terms[j]
    return total


@numba.njit(cache=True, error_model="numpy")
def _add_cumulative(
    terms: Array, sign: float, install: float, wear: float, log_age: float, worn: float
) -> None:
    """Add `sign` times the cumulative hazard and its derivatives."""
    terms[0] += sign * (install + wear)
    terms[1] += sign * install
    terms[2] += sign * install * log_age
    terms[3] += sign * wear
    terms[4] += sign * wear * worn
    terms[5] += sign * install
    terms[6] += sign * install * log_age
    terms[9] += sign * install * log_age * log_age
    terms[12] += sign * wear
    terms[13] += sign * wear * worn
    terms[14] += sign * wear * worn * worn


@numba.njit(cache=True, error_model="numpy")
def _add_log_hazard(
    terms: Array,
    install: float,
    wear: float,
    install_shape: float,
    wear_shape: float,
    log_age: float,
    worn: float,
    slope: Array,
) -> None:
    """Add log of the hazard per log age, log(k I + beta W), and its derivatives."""
    both = install_shape * install + wear_shape * wear
    share = install_shape * install / both
    slope[0], slope[1] = 1.0, 1.0 / install_shape + log_age
    slope[2], slope[3] = -1.0, -(1.0 / wear_shape + worn)
    terms[0] += np.log(both)
    terms[1] += share * slope[0]
    terms[2] += share * slope[1]
    terms[3] -= (1.0 - share) * slope[2]
    terms[4] -= (1.0 - share) * slope[3]
    terms[9] -= share / (install_shape * install_shape)
    terms[14] -= (1.0 - share) / (wear_shape * wear_shape)
    _add_outer(terms, share * (1.0 - share), slope)


@numba.njit(cache=True, error_model="numpy")
def _add_outer(terms: Array, factor: float, slope: Array) -> None:
    """Add `factor` times the outer product of `slope` to the second derivatives."""
    k = 5
    for i in range(4):
        for j in range(i, 4):
            terms[k] += factor * slope[i] * slope[j]
            k += 1
