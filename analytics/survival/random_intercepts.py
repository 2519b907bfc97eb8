r"""How much do positions, lots or crews differ in life, beyond what the covariates say?

.. math::
    \log T = b_0 + x'b + \sum_f u_{f,\,g_f} + \sigma W, \qquad u_{f,g} \sim N(0, \tau_f^2)

With :math:`v = u / \sigma` and :math:`\kappa_f = \tau_f / \sigma` the penalised
log-likelihood :math:`\ell(\gamma, \rho, v) - \sum_f |v_f|^2 / 2\kappa_f^2` is concave for every
:math:`\kappa`, so one ascent finds its summit. The :math:`\kappa_f` maximise the Laplace
approximation of the likelihood with :math:`v` and :math:`\gamma` integrated out,

.. math::
    m(\kappa) = \ell - \tfrac12 \sum_f |v_f|^2 / \kappa_f^2
    - \sum_f m_f \log \kappa_f - \tfrac12 \log\det(-H_{(\gamma, v)})

which for complete lognormal lives is restricted maximum likelihood but for a factor
(n - G + 1) / (n - G) on the ratio of mean squares.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, minimize
from scipy.stats import chi2

from analytics.errors import InputError, NotEstimable
from analytics.survival.fit import Fit, fit
from analytics.survival.joint_posterior import (
    Grouped,
    Joint,
    draw_joint,
    group,
    joint_covariances,
    summit_given,
    towards_marginal,
)
from analytics.survival.law import Family, LifeLaw
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.problem import natural_parameters

__all__ = ["Intercepts", "MixedFit", "draw_lives", "fit_with_intercepts"]

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

_LEAST, _NOTHING, _MOST = np.log([1e-3, 1e-2, 1e2])  # of tau / sigma
_FEW_LEVELS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Intercepts:
    """What one grouping adds to log life.

    Attributes
    ----------
    name : str
        The grouping: position, lot or crew.
    levels : ndarray, shape (m,)
        Its labels, sorted.
    sd : float
        Standard deviation tau of log life between levels; 0 if none was shown. [log time]
    sd_low, sd_high : float
        95 % limits of tau from the marginal likelihood ratio, at the fitted sigma; inf when
        the data set no upper limit. [log time]
    effects, effect_ses : ndarray, shape (m,)
        Most probable effect of each level on log life, shrunken towards 0, and its
        standard error. [log time]
    """

    name: str
    levels: NDArray[np.object_]
    sd: float
    sd_low: float
    sd_high: float
    effects: Array
    effect_ses: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedFit:
    """A regression on log life with random intercepts.

    Attributes
    ----------
    family : Family
        Family of life.
    names : tuple of str
        Covariates, in the order of the coefficients behind the intercept.
    coefficients : ndarray, shape (p + 1,)
        Intercept and effects on log life. [log time]
    sigma : float
        Scale of log life within a level. [-]
    covariance : ndarray, shape (p + 2, p + 2)
        Of the coefficients and log sigma, given the standard deviations of the intercepts.
    intercepts : tuple of Intercepts
        One per grouping, in the order given.
    gain : float
        Marginal log-likelihood above that of no intercepts at all. [-]
    warnings : tuple of str
        What a reader must know before using the numbers.
    joint : Joint
        The joint posterior behind the numbers, for draws.
    """

    family: Family
    names: tuple[str, ...]
    coefficients: Array
    sigma: float
    covariance: Array
    intercepts: tuple[Intercepts, ...]
    gain: float
    warnings: tuple[str, ...]
    joint: Joint


def fit_with_intercepts(
    data: Lifetimes,
    family: Family,
    groups: Mapping[str, ArrayLike],
    design: ArrayLike | None = None,
    names: tuple[str, ...] = (),
) -> MixedFit:
    """Fit a regression with normal random intercepts by Laplace's approximation.

    Parameters
    ----------
    data : Lifetimes
        n checked records. [time]
    family : Family
        Family of life.
    groups : mapping of str to array_like, shape (n,)
        Label of each row in each grouping, e.g. ``{"lot": lots, "crew": crews}``.
    design : array_like, shape (n, p), optional
        Covariates without an intercept.
    names : tuple of str
        Covariate names.

    Returns
    -------
    MixedFit

    Raises
    ------
    InputError
        If labels or covariates are unusable.
    NotEstimable
        If the plain fit is refused, or fewer than two levels of a grouping failed twice.
    NotConverged
        If the search does not end.

    Notes
    -----
    Laplace's approximation is good from about three failures a level on, or when the
    differences are small; with one failure a level the standard deviation comes out low.

    References
    ----------
    .. [1] S. Ripatti and J. Palmgren, "Estimation of multivariate frailty models using
       penalized partial likelihood", Biometrics 56 (2000) 1016-1022. From memory; not opened.
    """
    plain = fit(data, family, design, names)
    codes, levels = _coded(groups, data)
    return _tell(group(plain.problem, codes), levels, tuple(groups), plain)


def draw_lives(
    result: MixedFit,
    n_draws: int,
    random: np.random.Generator,
    groups: Mapping[str, ArrayLike],
    design: ArrayLike | None = None,
) -> LifeLaw:
    """Draw life laws of units from the joint posterior of effects and intercepts.

    Parameters
    ----------
    result : MixedFit
        A fit with p covariates.
    n_draws : int
        How many draws, >= 1.
    random : numpy.random.Generator
        Where chance comes from.
    groups : mapping of str to array_like, shape (n_units,)
        Labels of the units in each grouping; a label not seen in the fit draws its effect
        afresh, the same for all units that carry it.
    design : array_like, shape (n_units, p), optional
        Covariates of the units.

    Returns
    -------
    LifeLaw
        Arrays of shape (n_draws, n_units) and (n_draws, 1).

    Raises
    ------
    InputError
        If a grouping is missing or shapes differ.
    """
    labels = {one.name: _labels(groups, one.name) for one in result.intercepts}
    n_units = len(next(iter(labels.values())))
    x = np.empty((n_units, 0)) if design is None else np.asarray(design, dtype=float)
    if x.shape != (n_units, len(result.names)) or any(len(l) != n_units for l in labels.values()):
        raise InputError(
            f"units need {n_units} labels in each grouping and covariates of shape "
            f"({n_units}, {len(result.names)}), got {x.shape}"
        )
    rows = result.joint.rows
    draws = draw_joint(result.joint, n_draws, random)
    fixed = np.column_stack([draws[:, : rows.starts[0]], draws[:, -1]])
    over_sigma = fixed @ rows.problem.natural.T
    sigma = 1 / over_sigma[:, -1:]
    location = over_sigma[:, :-1] * sigma @ np.column_stack([np.ones(n_units), x]).T
    for one, start in zip(result.intercepts, rows.starts, strict=False):
        known = {level: start + i for i, level in enumerate(one.levels)}
        for label in dict.fromkeys(labels[one.name]):
            if label in known:
                effect = draws[:, known[label]] * sigma[:, 0]
            else:
                effect = one.sd * random.standard_normal(n_draws)
            location[:, labels[one.name] == label] += effect[:, None]
    return LifeLaw(
        family=result.family,
        wear_location=location,
        wear_sigma=sigma,
        install_log_rate=np.full_like(location, -np.inf),
        install_shape=np.ones((n_draws, 1)),
    )


def _coded(
    groups: Mapping[str, ArrayLike], data: Lifetimes
) -> tuple[tuple[Whole, ...], list[NDArray[np.object_]]]:
    """Level of each row and the labels, per grouping."""
    if not groups:
        raise InputError("random intercepts need at least one grouping, got none")
    codes, levels = [], []
    for name in groups:
        labels = _labels(groups, name)
        if len(labels) != len(data):
            raise InputError(
                f"{name} needs one label for each of {len(data)} rows, got {len(labels)}"
            )
        found, code = np.unique(labels, return_inverse=True)
        failures = np.bincount(code, data.weight * data.ended)
        repeated = int((failures >= 2).sum())
        if repeated < 2:
            raise NotEstimable(
                f"{name} needs at least 2 levels with 2 failures or more to show how much levels "
                f"differ, got {repeated} of {len(found)}"
            )
        codes.append(code.astype(np.int64))
        levels.append(found)
    return tuple(codes), levels


def _labels(groups: Mapping[str, ArrayLike], name: str) -> NDArray[np.object_]:
    if name not in groups:
        raise InputError(f"labels are needed for the grouping {name}; given: {', '.join(groups)}")
    labels = np.asarray(groups[name], dtype=object)
    if labels.ndim != 1 or any(label is None or label != label for label in labels):
        raise InputError(f"{name} needs one label per row, none of them blank")
    return labels.astype(str)


class _Search:
    """The marginal likelihood as a function of log kappa, each look starting from the last."""

    def __init__(self, rows: Grouped, theta: Array) -> None:
        self.rows = rows
        levels = np.zeros(rows.starts[-1] - rows.starts[0])
        self.start = np.concatenate([theta[:-1], levels, theta[-1:]])

    def at(self, log_kappa: Array) -> Joint:
        joint = summit_given(self.rows, log_kappa, self.start)
        self.start = joint.theta
        return joint

    def best(self) -> Array:
        def loss(log_kappa: Array) -> float:
            return -self.at(log_kappa).marginal

        start = np.full(len(self.rows.codes), np.log(0.3))
        bounds = [(float(_LEAST), float(_MOST))] * len(start)
        found = minimize(
            loss, start, method="L-BFGS-B", bounds=bounds, options={"ftol": 1e-10, "eps": 1e-4}
        )
        return np.asarray(found.x)


def _limits(search: _Search, best: Array, top: float) -> list[tuple[float, float]]:
    """Limits of each log kappa where the marginal likelihood has fallen by 1.92.

    The other kappas move along the straight line that the curvature at the summit foretells,
    which is the profile to second order.
    """
    bend = _curvature(search, best, top)
    drop = chi2.ppf(0.95, 1) / 2
    spans = []
    for i in range(len(best)):
        others = np.arange(len(best)) != i
        path = np.eye(len(best))[i]
        if others.any():
            path[others] = -np.linalg.solve(bend[np.ix_(others, others)], bend[others, i])

        def above(value: float, i: int = i, path: Array = path) -> float:
            there = np.clip(best + (value - best[i]) * path, _LEAST, _MOST)
            return search.at(there).marginal - top + drop

        low, high = -np.inf, np.inf
        if above(_LEAST) < 0:
            low = brentq(above, _LEAST, best[i], xtol=1e-3)
        if above(_MOST) < 0:
            high = brentq(above, best[i], _MOST, xtol=1e-3)
        spans.append((low, high))
    return spans


def _curvature(search: _Search, best: Array, top: float, h: float = 0.05) -> Array:
    """Second differences of the marginal likelihood, made negative definite."""
    count = len(best)
    steps = h * np.eye(count)
    bend = np.empty((count, count))
    ahead = [search.at(best + step).marginal for step in steps]
    for i in range(count):
        back = search.at(best - steps[i]).marginal
        bend[i, i] = min((ahead[i] - 2 * top + back) / h**2, -1e-3)
        for j in range(i):
            both = search.at(best + steps[i] + steps[j]).marginal
            bend[i, j] = bend[j, i] = (both - ahead[i] - ahead[j] + top) / h**2
    limit = 0.9 * np.sqrt(np.outer(np.diag(bend), np.diag(bend)))
    return np.where(np.eye(count) > 0, bend, np.clip(bend, -limit, limit))


def _tell(
    rows: Grouped,
    levels: list[NDArray[np.object_]],
    names: tuple[str, ...],
    plain: Fit,
) -> MixedFit:
    """Search, and put the answer in the caller's units."""
    search = _Search(rows, plain.summit.theta)
    best = search.best()
    joint = search.at(best)
    spans = _limits(search, best, joint.marginal)
    nothing = search.at(np.full(len(best), _LEAST)).marginal
    joint = towards_marginal(joint, best)
    border, variance, with_rho = joint_covariances(joint)
    p = rows.starts[0]
    fixed = np.r_[0:p, len(border) - 1]
    theta = np.append(joint.theta[:p], joint.theta[-1])
    coefficients, sigma, turn = natural_parameters(rows.problem, theta)
    over_rho = joint.theta / joint.theta[-1]
    per_rho = (variance - 2 * over_rho * with_rho + over_rho**2 * variance[-1]) * sigma**2
    told, warnings = [], list(plain.warnings)
    for i, name in enumerate(names):
        place = slice(rows.starts[i], rows.starts[i + 1])
        shown = best[i] > _NOTHING
        told.append(
            Intercepts(
                name=name,
                levels=levels[i],
                sd=float(np.exp(best[i])) * sigma if shown else 0.0,
                sd_low=float(np.exp(spans[i][0])) * sigma,
                sd_high=float(np.exp(spans[i][1])) * sigma,
                effects=joint.theta[place] * sigma,
                effect_ses=np.sqrt(np.maximum(per_rho[place], 0.0)),
            )
        )
        if not shown:
            warnings.append(f"no difference between the levels of {name} was shown")
        if len(levels[i]) < _FEW_LEVELS:
            warnings.append(
                f"only {len(levels[i])} levels of {name}: how much they differ is hardly known"
            )
    return MixedFit(
        family=plain.family,
        names=plain.names,
        coefficients=coefficients,
        sigma=sigma,
        covariance=turn @ border[np.ix_(fixed, fixed)] @ turn.T,
        intercepts=tuple(told),
        gain=joint.marginal - nothing,
        warnings=tuple(warnings),
        joint=joint,
    )
