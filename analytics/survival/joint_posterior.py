r"""The joint likelihood of effects and random intercepts, and its Laplace approximation.

The parameters stand in one vector: gamma, the intercepts of each grouping, rho. One grouping,
the "wide" one with the most levels, meets no level of its own but itself, so its block of the
information is diagonal and is eliminated; the rest, the "border", is dense and small.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, solve_triangular
from scipy.sparse import csr_array, diags_array, hstack

from analytics.survival.kernels import row_terms
from analytics.survival.newton import ascend, newton_step
from analytics.survival.problem import Problem, standard_covariates

__all__ = [
    "Grouped",
    "Joint",
    "draw_joint",
    "group",
    "joint_covariances",
    "summit_given",
    "towards_marginal",
]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouped:
    """Rows with their levels.

    Attributes
    ----------
    problem : Problem
        n rows, p covariates.
    covariates : ndarray, shape (n, p + 1)
        Scaled covariates, an intercept first.
    codes : tuple of ndarray of int, shape (n,)
        Level of each row, per grouping.
    starts : tuple of int
        Place of each grouping's first level in the joint vector, then that of rho.
    wide : int
        Which grouping has the most levels.
    columns : csr_array, shape (n, b - 1)
        Covariates and levels of the other groupings: the border without rho.
    """

    problem: Problem
    covariates: Array
    codes: tuple[Whole, ...]
    starts: tuple[int, ...]
    wide: int
    columns: csr_array

    @property
    def inner(self) -> Whole:
        """Places of the wide grouping, shape (m,)."""
        return np.arange(self.starts[self.wide], self.starts[self.wide + 1])

    @property
    def border(self) -> Whole:
        """Places of everything else, rho last, shape (b,)."""
        return np.setdiff1d(np.arange(self.starts[-1] + 1), self.inner)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slopes:
    """Gradient and information, the wide grouping apart."""

    border_slope: Array
    wide_slope: Array
    border: Array
    across: Array
    wide: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """The joint posterior at its summit, given the spreads of the intercepts.

    Attributes
    ----------
    rows : Grouped
        The rows.
    theta : ndarray, shape (k,)
        The joint vector at the summit.
    marginal : float
        Laplace approximation of the marginal log-likelihood, up to a constant. [-]
    factor : ndarray, shape (b, b)
        Lower Cholesky factor of the border's information, the wide grouping integrated out.
    across : ndarray, shape (m, b)
        Mean of the wide grouping moves by minus this times the border's move.
    depth : ndarray, shape (m,)
        Information of each wide level given the border.
    """

    rows: Grouped
    theta: Array
    marginal: float
    factor: Array
    across: Array
    depth: Array


def group(problem: Problem, codes: tuple[Whole, ...]) -> Grouped:
    """Lay out the joint vector and the border's columns.

    Parameters
    ----------
    problem : Problem
        n rows, p covariates.
    codes : tuple of ndarray of int, shape (n,)
        Level of each row, 0 to m - 1, per grouping.

    Returns
    -------
    Grouped
    """
    sizes = [int(code.max()) + 1 for code in codes]
    covariates = standard_covariates(problem)
    wide = int(np.argmax(sizes))
    blocks = [csr_array(covariates)]
    n = len(covariates)
    for i, code in enumerate(codes):
        if i != wide:
            blocks.append(csr_array((np.ones(n), (np.arange(n), code)), shape=(n, sizes[i])))
    starts = np.cumsum([covariates.shape[1], *sizes])
    return Grouped(
        problem=problem,
        covariates=covariates,
        codes=codes,
        starts=tuple(int(start) for start in starts),
        wide=wide,
        columns=csr_array(hstack(blocks, format="csr")),
    )


def summit_given(rows: Grouped, log_kappa: Array, start: Array) -> Joint:
    """Find the joint summit for given spreads of the intercepts.

    Parameters
    ----------
    rows : Grouped
        The rows.
    log_kappa : ndarray, shape (f,)
        Log of tau / sigma, per grouping. [-]
    start : ndarray, shape (k,)
        Joint vector to start from.

    Returns
    -------
    Joint

    Raises
    ------
    NotEstimable, NotConverged
        As `analytics.survival.newton.ascend`.
    """
    sizes = np.diff(rows.starts)
    precision = _precision(rows, log_kappa)
    found = ascend(
        lambda theta: _surface(rows, theta, precision),
        lambda slopes: _newton(rows, slopes),
        start,
    )
    slopes = found.slopes
    factor = np.asarray(np.linalg.cholesky(_schur(slopes)), dtype=float)
    # The determinant of the information without rho: rho is last in the border.
    halves = np.log(np.diag(factor)[:-1]).sum() + np.log(slopes.wide).sum() / 2
    return Joint(
        rows=rows,
        theta=found.theta,
        marginal=float(found.value - sizes @ log_kappa - halves),
        factor=factor,
        across=slopes.across / slopes.wide[:, None],
        depth=slopes.wide,
    )


def towards_marginal(joint: Joint, log_kappa: Array) -> Joint:
    r"""Move the effects from the joint summit to that of the marginal likelihood.

    One Newton step on the part the joint summit leaves out,
    :math:`-\tfrac12 \log\det(-H_{vv})`, the levels following along their conditional mode.
    Without it the intercept of Weibull lives with few failures a level comes out short.

    Parameters
    ----------
    joint : Joint
        From `summit_given`.
    log_kappa : ndarray, shape (f,)
        The same log of tau / sigma. [-]

    Returns
    -------
    Joint
        Moved, with the curvature there; `marginal` as it was.
    """
    rows, precision = joint.rows, _precision(joint.rows, log_kappa)
    information = joint.factor @ joint.factor.T
    covariance = cho_solve((joint.factor, True), np.eye(len(information)))
    levels = _level_places(rows)
    fixed = np.flatnonzero(~levels)

    def moved(change: Array) -> Array:
        border = np.zeros(len(information))
        border[fixed] = change
        if levels.any():
            pull = information[np.ix_(levels, ~levels)] @ change
            border[levels] = -np.linalg.solve(information[np.ix_(levels, levels)], pull)
        theta = joint.theta.copy()
        theta[rows.border] += border
        theta[rows.inner] -= joint.across @ border
        return theta

    slope = np.empty(len(fixed))
    for i, place in enumerate(fixed):
        step = np.zeros(len(fixed))
        step[i] = 0.1 * np.sqrt(covariance[place, place])
        ahead, back = (
            _level_log_det(_surface(rows, moved(s), precision)[1], levels) for s in (step, -step)
        )
        slope[i] = -(ahead - back) / (4 * step[i])
    theta = moved(covariance[np.ix_(fixed, fixed)] @ slope)
    slopes = _surface(rows, theta, precision)[1]
    return Joint(
        rows=rows,
        theta=theta,
        marginal=joint.marginal,
        factor=np.asarray(np.linalg.cholesky(_schur(slopes)), dtype=float),
        across=slopes.across / slopes.wide[:, None],
        depth=slopes.wide,
    )


def draw_joint(joint: Joint, n_draws: int, random: np.random.Generator) -> Array:
    """Draw joint vectors from the normal posterior at the summit; shape (n_draws, k)."""
    rows = joint.rows
    noise = random.standard_normal((len(joint.factor), n_draws))
    border = solve_triangular(joint.factor, noise, lower=True, trans="T")
    wide = random.standard_normal((len(joint.depth), n_draws)) / np.sqrt(joint.depth)[:, None]
    draws = np.tile(joint.theta[:, None], n_draws)
    draws[rows.border] += border
    draws[rows.inner] += wide - joint.across @ border
    draws[-1] = np.maximum(draws[-1], 1e-3 * joint.theta[-1])
    return np.asarray(draws.T)


def joint_covariances(joint: Joint) -> tuple[Array, Array, Array]:
    """Give the border's covariance, each parameter's variance and its covariance with rho.

    Returns
    -------
    border : ndarray, shape (b, b)
    variance, with_rho : ndarray, shape (k,)
    """
    rows = joint.rows
    border = cho_solve((joint.factor, True), np.eye(len(joint.factor)))
    variance = np.empty(len(joint.theta))
    with_rho = np.empty(len(joint.theta))
    variance[rows.border] = np.diag(border)
    with_rho[rows.border] = border[:, -1]
    variance[rows.inner] = 1 / joint.depth + np.sum(joint.across @ border * joint.across, axis=1)
    with_rho[rows.inner] = -joint.across @ border[:, -1]
    return border, variance, with_rho


def _surface(rows: Grouped, theta: Array, precision: Array) -> tuple[float, _Slopes]:
    """Penalised log-likelihood and its slopes."""
    problem, rho = rows.problem, theta[-1]
    linear = rows.covariates @ theta[: rows.starts[0]]
    for code, start in zip(rows.codes, rows.starts, strict=False):
        linear += theta[start + code]
    terms = problem.weight * row_terms(
        problem.family,
        problem.kind,
        problem.entry,
        problem.lower,
        problem.upper,
        linear,
        float(rho),
    )
    value, d, dy, dd, ddy, ddyy = terms
    exact = problem.exact_weight
    total = value.sum() + problem.constant + exact * np.log(rho)
    inner, border = rows.inner, rows.border
    code, size = rows.codes[rows.wide], len(inner)
    columns = rows.columns
    curved = diags_array(dd) @ columns
    information = np.empty((len(border), len(border)))
    information[:-1, :-1] = -(columns.T @ curved).toarray()
    information[:-1, -1] = information[-1, :-1] = columns.T @ ddy
    information[-1, -1] = exact / rho**2 - ddyy.sum()
    information[np.diag_indices(len(border))] += precision[border]
    wide_columns = csr_array((np.ones(len(code)), (code, np.arange(len(code)))))
    across = np.column_stack(
        [-(wide_columns @ curved).toarray(), np.bincount(code, ddy, minlength=size)]
    )
    penalty = precision * theta
    return float(total - penalty @ theta / 2), _Slopes(
        border_slope=np.append(-(columns.T @ d), dy.sum() + exact / rho) - penalty[border],
        wide_slope=-np.bincount(code, d, minlength=size) - penalty[inner],
        border=information,
        across=across,
        wide=precision[inner] - np.bincount(code, dd, minlength=size),
    )


def _precision(rows: Grouped, log_kappa: Array) -> Array:
    """Prior precision of every entry of the joint vector; 0 for gamma and rho."""
    precision = np.zeros(rows.starts[-1] + 1)
    precision[rows.starts[0] : -1] = np.repeat(np.exp(-2 * log_kappa), np.diff(rows.starts))
    return precision


def _level_places(rows: Grouped) -> NDArray[np.bool_]:
    """Which entries of the border are levels, not gamma or rho."""
    return np.asarray((rows.border >= rows.starts[0]) & (rows.border < rows.starts[-1]))


def _level_log_det(slopes: _Slopes, levels: NDArray[np.bool_]) -> float:
    """Log determinant of the information of all levels."""
    block = _schur(slopes)[np.ix_(levels, levels)]
    return float(np.log(slopes.wide).sum() + np.linalg.slogdet(block)[1])


def _schur(slopes: _Slopes) -> Array:
    """Information of the border with the wide grouping integrated out."""
    return np.asarray(slopes.border - slopes.across.T @ (slopes.across / slopes.wide[:, None]))


def _newton(rows: Grouped, slopes: _Slopes) -> tuple[Array, float]:
    """The Newton step of the joint vector and its gain."""
    wide = np.maximum(np.abs(slopes.wide), 1e-10)  # may bend up under left truncation
    slope = slopes.border_slope - slopes.across.T @ (slopes.wide_slope / wide)
    border, _ = newton_step(slope, -_schur(slopes), np.eye(len(slope)))
    step = np.empty(rows.starts[-1] + 1)
    step[rows.border] = border
    step[rows.inner] = (slopes.wide_slope - slopes.across @ border) / wide
    gain = slopes.border_slope @ border + slopes.wide_slope @ step[rows.inner]
    return step, float(gain)
