r"""How does life depend on a duty that changes during it?

Each life is a run of stretches at constant duty (start, stop, covariates). Life is used up
faster or slower by the factor :math:`e^{-x'b}`,

.. math::
    \psi(t) = \int_0^t e^{-x(u)'b}\,du, \qquad \log\psi(T) = b_0 + \sigma W,

so a life remembers how much of it is gone, not how it went. With one stretch per life this is
the regression of `analytics.survival.fit`.
"""

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import failure_warnings, fit, refuse_summit_at_infinity
from analytics.survival.kernels import EXACT, TRUNCATED, age_slopes
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.limits import Limits, chi_root
from analytics.survival.newton import Summit, climb
from analytics.survival.problem import CODES, Problem, row_kinds
from analytics.survival.profile import profile_end
from analytics.survival.stretches import Stretches

__all__ = ["ExposureFit", "exposure_limits", "fit_exposure"]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureFit:
    """A regression on cumulative exposure.

    Attributes
    ----------
    family : Family
        Family of life.
    names : tuple of str
        Covariates, in the order of the coefficients behind the intercept.
    coefficients : ndarray, shape (p + 1,)
        Intercept and effects on log life at constant duty. [log time]
    sigma : float
        Scale of log life. [-]
    covariance : ndarray, shape (p + 2, p + 2)
        Of the coefficients and log sigma; the last row is 0 for the exponential.
    log_likelihood : float
        At the estimates. [-]
    warnings : tuple of str
        What a reader must know before using the numbers.
    rows : Rows
        The data, as the search and the likelihood-ratio limits take them.
    summit : Summit
        Where the search ended.
    """

    family: Family
    names: tuple[str, ...]
    coefficients: Array
    sigma: float
    covariance: Array
    log_likelihood: float
    warnings: tuple[str, ...]
    rows: "Rows"
    summit: Summit


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Lives and their stretches as the likelihood takes them.

    Attributes
    ----------
    family : int
        Code of the family in the kernels.
    kind : ndarray of uint8, shape (n,)
        Kind of each row.
    weight : ndarray, shape (n,)
        Lives a row stands for. [-]
    life : ndarray of int, shape (m,)
        Row of each stretch's life.
    within : ndarray, shape (3, m)
        Time each stretch adds before the entry, lower and upper age, scaled. [-]
    design : ndarray, shape (m, p)
        Scaled covariates of the stretches.
    last : ndarray, shape (n, p)
        Scaled covariates at the lower age.
    centre, spread : ndarray, shape (p,)
        Centre and scale of each covariate.
    time_scale : float
        Scale of the ages. [time]
    exact : ndarray, shape (n,)
        Weight of the rows whose age at the end is exact, 0 elsewhere. [-]
    constant : float
        Part of the log-likelihood that no parameter moves.
    free : ndarray, shape (p + 2, r)
        Basis of the directions the search may take.
    """

    family: int
    kind: NDArray[np.uint8]
    weight: Array
    life: Whole
    within: Array
    design: Array
    last: Array
    centre: Array
    spread: Array
    time_scale: float
    exact: Array
    constant: float
    free: Array


def fit_exposure(
    data: Lifetimes, family: Family, duty: Stretches, names: tuple[str, ...]
) -> ExposureFit:
    """Fit a regression on cumulative exposure by maximum likelihood.

    Parameters
    ----------
    data : Lifetimes
        n checked records. [time]
    family : Family
        Family of life.
    duty : Stretches
        Duty of every life, from `stretches`.
    names : tuple of str
        Covariate names.

    Returns
    -------
    ExposureFit

    Raises
    ------
    InputError
        If names and covariates differ in number.
    NotEstimable
        If nothing failed, or the data cannot tell an effect.
    NotConverged
        If the search does not end.

    References
    ----------
    .. [1] W. Nelson, "Accelerated Testing: Statistical Models, Test Plans, and Data
       Analysis", Wiley, 1990, ch. 10: cumulative exposure. From memory; not opened.
    """
    if duty.design.shape[1] != len(names):
        raise InputError(f"stretches have {duty.design.shape[1]} covariates, names {len(names)}")
    plain = fit(data, family)
    rows = _rows(data, family, duty, names, plain.problem)
    start = _start(data, family, duty, names, rows)
    summit = climb(partial(_surface, rows), start, rows.free)
    refuse_summit_at_infinity(summit, rows.free, names, np.full(len(names), 4.0))
    coefficients, sigma, covariance = _natural(rows, summit)
    return ExposureFit(
        family=family,
        names=names,
        coefficients=coefficients,
        sigma=sigma,
        covariance=covariance,
        log_likelihood=summit.value,
        warnings=failure_warnings(data.failures, len(names)),
        rows=rows,
        summit=summit,
    )


def exposure_limits(result: ExposureFit, name: str, *, confidence: float = 0.95) -> Limits:
    """Give Wald and likelihood-ratio limits of one effect or of sigma.

    Parameters
    ----------
    result : ExposureFit
        The fit.
    name : str
        A covariate, or `sigma`.
    confidence : float, default 0.95
        Two-sided level. [-]

    Returns
    -------
    Limits

    Raises
    ------
    InputError
        If there is no such name.
    """
    known: tuple[str, ...] = (*result.names, "sigma")
    if result.family is Family.EXPONENTIAL:
        known = result.names
    if name not in known:
        raise InputError(f"name must be one of {', '.join(known)}, got {name!r}")
    place = 1 + known.index(name)
    rows, theta = result.rows, result.summit.theta
    is_sigma = name == "sigma"
    # Sigma is worked on its log, an effect as it is; held, each is one entry of theta.
    best = float(np.log(result.sigma) if is_sigma else result.coefficients[place])
    se = float(np.sqrt(result.covariance[place, place]))
    root = chi_root(confidence)
    others = rows.free[:, np.arange(rows.free.shape[1]) != place]

    def depth(value: float) -> float:
        start = theta.copy()
        start[place] = np.exp(-value) if is_sigma else value * rows.spread[place - 1]
        try:
            found = climb(partial(_surface, rows), start, others).value
        except NotEstimable:
            return np.inf
        return float(np.sqrt(max(2 * (result.summit.value - found), 0.0))) - root

    low, high = (profile_end(depth, best, side * root * se, root) for side in (-1.0, 1.0))
    back = np.exp if is_sigma else float
    return Limits(
        estimate=float(back(best)),
        se=se * (result.sigma if is_sigma else 1.0),
        wald=(float(back(best - root * se)), float(back(best + root * se))),
        likelihood_ratio=(
            None if low is None else float(back(low)),
            None if high is None else float(back(high)),
        ),
        confidence=confidence,
    )


def _rows(
    data: Lifetimes, family: Family, duty: Stretches, names: tuple[str, ...], plain: Problem
) -> Rows:
    low, high = duty.design.min(axis=0), duty.design.max(axis=0)
    same = [name for name, one in zip(names, low == high, strict=True) if one]
    if same:
        raise NotEstimable(
            f"a covariate must vary to show an effect; the same in every stretch: {', '.join(same)}"
        )
    kind, narrow = row_kinds(data)
    unit = float(np.exp(plain.time_centre))
    centre, spread = duty.design.mean(axis=0), (high - low) / 4
    scaled = (duty.design - centre) / spread
    upper = np.where(data.ended, data.upper, 0.0)
    ages = np.stack([data.entry, data.lower, upper])[:, duty.life]
    within = (np.clip(ages, duty.start, duty.stop) - duty.start) / unit
    at_end = (duty.start < ages[1]) & (ages[1] <= duty.stop)
    last = np.zeros((len(data), len(names)))
    last[duty.life[at_end]] = scaled[at_end]
    exact = data.weight * (kind % TRUNCATED == EXACT)
    untold = ~data.ended & (data.lower <= 0)
    width = np.where(narrow, data.upper - data.lower, unit)
    basis = np.eye(len(names) + 2)
    return Rows(
        family=CODES[family],
        kind=kind,
        weight=np.where(untold, 0.0, data.weight),
        life=duty.life,
        within=within,
        design=scaled,
        last=last,
        centre=centre,
        spread=spread,
        time_scale=unit,
        exact=exact,
        constant=-float(exact.sum() * np.log(unit))
        + float(exact @ np.where(narrow, np.log(width), 0.0)),
        free=basis[:, :-1] if family is Family.EXPONENTIAL else basis,
    )


def _start(
    data: Lifetimes, family: Family, duty: Stretches, names: tuple[str, ...], rows: Rows
) -> Array:
    """Start from the regression on each life's average duty; without effects if it is refused."""
    span = duty.stop - duty.start
    total = np.bincount(duty.life, span)
    mean = np.column_stack([np.bincount(duty.life, span * x) / total for x in duty.design.T])
    try:
        found = fit(data, family, mean, names)
    except NotEstimable:
        found = fit(data, family)
    effects = np.zeros(len(names))
    effects[: len(found.names)] = found.coefficients[1:]
    level = found.coefficients[0] + effects @ rows.centre - np.log(rows.time_scale)
    return np.concatenate([[level / found.sigma], effects * rows.spread, [1 / found.sigma]])


def _natural(rows: Rows, summit: Summit) -> tuple[Array, float, Array]:
    """Coefficients, sigma and their covariance in the caller's units."""
    theta, p = summit.theta, len(rows.spread)
    sigma = float(1 / theta[-1])
    effects = theta[1:-1] / rows.spread
    intercept = theta[0] * sigma - effects @ rows.centre + np.log(rows.time_scale)
    turn = np.zeros((p + 2, p + 2))
    turn[0, 0] = sigma
    turn[0, 1:-1] = -rows.centre / rows.spread
    turn[0, -1] = -theta[0] * sigma**2
    turn[1:-1, 1:-1] = np.diag(1 / rows.spread)
    turn[-1, -1] = -sigma
    information = -(rows.free.T @ summit.hessian @ rows.free)
    inverse = rows.free @ np.linalg.inv(information) @ rows.free.T
    return np.r_[intercept, effects], sigma, turn @ inverse @ turn.T


def _surface(rows: Rows, theta: Array) -> tuple[float, Array, Array]:
    """Log-likelihood, gradient and Hessian by (gamma_0, scaled effects, rho)."""
    effects, rho = theta[1:-1], theta[-1]
    n, p = rows.last.shape
    pace = np.exp(-rows.design @ effects)
    logs, means, used = [], [], []
    for within in rows.within:
        part = within * pace
        total = np.bincount(rows.life, part, minlength=n)
        none = total <= 0
        total = np.where(none, 1.0, total)
        share = part / total[rows.life]
        mean = np.column_stack(
            [np.bincount(rows.life, share * x, minlength=n) for x in rows.design.T]
        )
        logs.append(np.where(none, -1e6, np.log(total)))
        means.append(mean)
        used.append(share)
    z = [rho * log - theta[0] for log in logs]
    told = age_slopes(rows.family, rows.kind, *z) * rows.weight
    first = told[1:4]
    second = {(0, 0): told[4], (1, 1): told[5], (1, 2): told[6], (2, 2): told[7]}
    jacobians = [
        np.column_stack([np.full(n, -1.0), -rho * mean, log])
        for mean, log in zip(means, logs, strict=True)
    ]
    gradient = np.zeros(p + 2)
    hessian = np.zeros((p + 2, p + 2))
    for a in range(3):
        gradient += first[a] @ jacobians[a]
        # The exact row's density also has psi'(t) / psi(t): its log bends with -log psi.
        bend = rho * first[a] - (rows.exact if a == 1 else 0.0)
        curve = (rows.design * (bend[rows.life] * used[a])[:, None]).T @ rows.design
        hessian[1:-1, 1:-1] += curve - (means[a] * bend[:, None]).T @ means[a]
        mixed = -first[a] @ means[a]
        hessian[1:-1, -1] += mixed
        hessian[-1, 1:-1] += mixed
    for (a, b), weights in second.items():
        block = (jacobians[a] * weights[:, None]).T @ jacobians[b]
        hessian += block if a == b else block + block.T
    exact = rows.exact
    gradient[1:-1] += exact @ (means[1] - rows.last)
    gradient[-1] += exact.sum() / rho
    hessian[-1, -1] -= exact.sum() / rho**2
    value = told[0].sum() + exact.sum() * np.log(rho) - exact @ (logs[1] + rows.last @ effects)
    return float(value + rows.constant), gradient, hessian
