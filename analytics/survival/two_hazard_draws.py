"""How sure is the two-hazard model? Draws of its parameters and the life laws they make."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.survival.law import Family, LifeLaw
from analytics.survival.two_hazard_fit import TwoHazardFit
from analytics.survival.two_hazard_posterior import Posterior, shapes

__all__ = ["TwoHazardDraws", "life_law", "log_defect_ratio", "parameter_draws"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoHazardDraws:
    """Draws of the parameters in the units of the data, all from the same posterior.

    Attributes
    ----------
    install_log_rate : ndarray, shape (n_draws,)
        a of a clean disc whose installation covariates are 0. [log years^-k]
    install_shape : ndarray, shape (n_draws,)
        k. [-]
    defect_effects : ndarray, shape (n_draws, J)
        b. [-]
    install_effects : ndarray, shape (n_draws, q)
        c. [1/unit]
    wear_location : ndarray, shape (n_draws,)
        m, at wear covariates 0. [log years]
    wear_sigma : ndarray, shape (n_draws,)
        s. [-]
    wear_effects : ndarray, shape (n_draws, r)
        g. [1/unit]
    """

    install_log_rate: Array
    install_shape: Array
    defect_effects: Array
    install_effects: Array
    wear_location: Array
    wear_sigma: Array
    wear_effects: Array


def parameter_draws(fit: TwoHazardFit, n_draws: int = 2000, seed: int = 0) -> TwoHazardDraws:
    """Draw parameters from the Laplace approximation of the posterior.

    Parameters
    ----------
    fit : TwoHazardFit
        A fit.
    n_draws : int, default 2000
        How many, at least 1.
    seed : int, default 0
        Seed of the random numbers; the same seed gives the same draws.

    Returns
    -------
    TwoHazardDraws
        Draws in the units of the data; shapes stay on their side of 1.
    """
    noise = np.random.default_rng(seed).standard_normal((n_draws, fit.vector.size))
    vectors = fit.vector + noise @ np.linalg.cholesky(fit.covariance).T
    return _in_data_units(fit.problem, vectors)


def life_law(
    draws: TwoHazardDraws,
    *,
    defects: ArrayLike | None = None,
    install_design: ArrayLike | None = None,
    wear_design: ArrayLike | None = None,
) -> LifeLaw:
    """Give the life law of any units, seen or new, for each draw.

    Parameters
    ----------
    draws : TwoHazardDraws
        Parameter draws.
    defects, install_design, wear_design : array_like, shapes (n_units, J), (n_units, q), \
            (n_units, r), optional
        Covariates of the units in the columns and units of the fit; zeros when left out, so
        without `defects` the installation is clean.

    Returns
    -------
    LifeLaw
        Fields of shape (n_draws, n_units) or (n_draws, 1).

    Raises
    ------
    InputError
        If a table has another number of columns than the fit, or the numbers of rows differ.
    """
    tables = _tables(draws, defects, install_design, wear_design)
    log_rate = draws.install_log_rate[:, None] + draws.install_effects @ tables[1].T
    location = draws.wear_location[:, None] + draws.wear_effects @ tables[2].T
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=location,
        wear_sigma=draws.wear_sigma[:, None],
        install_log_rate=log_rate + log_defect_ratio(draws.defect_effects, tables[0]),
        install_shape=draws.install_shape[:, None],
    )


def log_defect_ratio(effects: Array, defects: Array) -> Array:
    """Sum of log(1 - x + x e^b) over the defects; (n_draws, J), (n, J) to (n_draws, n)."""
    total = effects @ (defects == 1).T.astype(float)
    for effect, defect in zip(effects.T, defects.T, strict=True):
        unsure = np.flatnonzero((defect > 0) & (defect < 1))
        # few prevalences, many lives: one logarithm per prevalence
        levels, at = np.unique(defect[unsure], return_inverse=True)
        total[:, unsure] += np.log1p(np.expm1(effect)[:, None] * levels)[:, at]
    return np.asarray(total)


def _in_data_units(problem: Posterior, vectors: Array) -> TwoHazardDraws:
    """Undo centring, scaling and the reference age; vectors of shape (n_draws, P)."""
    J, q, r = problem.defects.shape[1], problem.install.shape[1], problem.wear.shape[1]
    k, beta = shapes(problem, vectors)
    log_reference = np.log(problem.reference_age)
    install = vectors[:, 1 + J : 1 + J + q] / problem.install_scale
    wear = vectors[:, 3 + J + q : 3 + J + q + r] / problem.wear_scale
    level = vectors[:, 2 + J + q] - wear @ problem.wear_centre
    return TwoHazardDraws(
        install_log_rate=vectors[:, 0] - install @ problem.install_centre - k * log_reference,
        install_shape=k,
        defect_effects=vectors[:, 1 : 1 + J],
        install_effects=install,
        wear_location=log_reference - level / beta,
        wear_sigma=1 / beta,
        wear_effects=-wear / beta[:, None],
    )


def _tables(draws: TwoHazardDraws, *given: ArrayLike | None) -> list[Array]:
    """Covariate tables with one row per unit; a table left out is zeros."""
    widths = [
        effects.shape[1]
        for effects in (draws.defect_effects, draws.install_effects, draws.wear_effects)
    ]
    tables = [None if table is None else np.asarray(table, dtype=float) for table in given]
    rows = {len(table) for table in tables if table is not None} or {1}
    shapes_given = [None if table is None else table.shape for table in tables]
    fits = all(
        shape is None or shape[1:] == (width,)
        for shape, width in zip(shapes_given, widths, strict=True)
    )
    if len(rows) != 1 or not fits:
        raise InputError(
            "defects, install_design and wear_design must have one row per unit and "
            f"{widths[0]}, {widths[1]} and {widths[2]} columns as in the fit; got {shapes_given}"
        )
    n = rows.pop()
    return [
        np.zeros((n, width)) if table is None else table
        for table, width in zip(tables, widths, strict=True)
    ]
