r"""Are the standard errors honest when lives of one crew, lot or position resemble each other?

.. math::
    V = I^{-1} \Big(\sum_c s_c s_c'\Big) I^{-1}, \qquad s_c = \sum_{i \in c} \nabla \ell_i
"""

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import Fit
from analytics.survival.kernels import EXACT, TRUNCATED, row_terms
from analytics.survival.problem import (
    Problem,
    inverse_information,
    natural_parameters,
    standard_covariates,
)

__all__ = ["row_scores", "with_clusters"]

Array = NDArray[np.float64]

_FEW_CLUSTERS = 20


def row_scores(problem: Problem, theta: Array) -> Array:
    """Give each row's slope of the log-likelihood by theta, weighted.

    Parameters
    ----------
    problem : Problem
        n rows, p covariates.
    theta : ndarray, shape (p + 2,)
        Parameters in the search's own scales.

    Returns
    -------
    ndarray, shape (n, p + 2)
        Their sum over the rows is the gradient (without any prior).
    """
    x = standard_covariates(problem)
    terms = row_terms(
        problem.family,
        problem.kind,
        problem.entry,
        problem.lower,
        problem.upper,
        x @ theta[:-1],
        float(theta[-1]),
    )
    by_rho = terms[2] + (problem.kind % TRUNCATED == EXACT) / theta[-1]
    return np.asarray(problem.weight[:, None] * np.column_stack([-x * terms[1][:, None], by_rho]))


def with_clusters(result: Fit, clusters: ArrayLike) -> Fit:
    """Give the fit with a covariance that holds when rows of a cluster are alike.

    Parameters
    ----------
    result : Fit
        A fit without a prior.
    clusters : array_like, shape (n,)
        Label of each row's crew, lot or position, in the order of the rows.

    Returns
    -------
    Fit
        The same estimates with the robust covariance; Wald limits follow it, the
        likelihood-ratio limits still trust the model.

    Raises
    ------
    InputError
        If there is not one label per row, or the fit used a prior.
    NotEstimable
        If there are not more clusters than parameters.

    Notes
    -----
    No small-sample factor. With fewer than 20 clusters the errors come out too small; the
    result warns so.

    References
    ----------
    .. [1] P. J. Huber, "The behavior of maximum likelihood estimates under nonstandard
       conditions", 5th Berkeley Symposium (1967) 221-233. From memory; not opened.
    """
    problem, theta = result.problem, result.summit.theta
    labels = np.asarray(clusters)
    if labels.shape != (len(problem.kind),):
        raise InputError(f"clusters need one label for each of {len(problem.kind)} rows")
    if problem.prior is not None:
        raise InputError("robust standard errors need a fit without a prior")
    _, codes = np.unique(labels, return_inverse=True)
    count = int(codes.max()) + 1
    free = problem.free.shape[1]
    if count <= free:
        raise NotEstimable(
            f"robust standard errors need more clusters than the {free} parameters, got {count}"
        )
    scores = row_scores(problem, theta)
    sums = np.column_stack([np.bincount(codes, column) for column in scores.T])
    turn = natural_parameters(problem, theta)[2]
    reach = turn @ inverse_information(problem, result.summit.hessian) @ sums.T
    warnings = list(result.warnings)
    if count < _FEW_CLUSTERS:
        warnings.append(f"only {count} clusters: robust standard errors may be too small")
    return replace(result, covariance=reach @ reach.T, warnings=tuple(warnings))
