"""How sure is the two-hazard model? Draws of its parameters and the life laws they make."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.survival.law import Family, LifeLaw
from analytics.survival.two_hazard_modes import Mode
from analytics.survival.two_hazard_posterior import Posterior, shapes

__all__ = ["TwoHazardDraws", "draw_modes", "install_log_ratio", "life_law", "log_defect_ratio"]

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
    first_defect_effect : ndarray, shape (n_draws,)
        f, log ratio of having any defect, beside b; 0 in versions without. [-]
    install_effects : ndarray, shape (n_draws, q)
        c. [1/unit]
    wear_location : ndarray, shape (n_draws,)
        m, at wear covariates 0. [log years]
    wear_sigma : ndarray, shape (n_draws,)
        s. [-]
    wear_effects : ndarray, shape (n_draws, r)
        g. [1/unit]
    wear_defect_effects : ndarray, shape (n_draws, J)
        w, log ratios in the wear hazard; 0 in versions without. [-]
    """

    install_log_rate: Array
    install_shape: Array
    defect_effects: Array
    first_defect_effect: Array
    install_effects: Array
    wear_location: Array
    wear_sigma: Array
    wear_effects: Array
    wear_defect_effects: Array


def draw_modes(modes: Sequence[Mode], n_draws: int, seed: int) -> TwoHazardDraws:
    """Draw parameters from all versions, each as often as it is probable, in random order.

    Parameters
    ----------
    modes : sequence of Mode
        Versions of one fit.
    n_draws : int
        How many, at least 1.
    seed : int
        Seed of the random numbers; the same seed gives the same draws.

    Returns
    -------
    TwoHazardDraws
        Draws in the units of the data; shapes stay on their side of 1.
    """
    rng = np.random.default_rng(seed)
    edges = np.round(n_draws * np.cumsum([mode.probability for mode in modes])).astype(int)
    order = rng.permutation(n_draws)
    parts = []
    for mode, count in zip(modes, np.diff(edges, prepend=0), strict=True):
        noise = rng.standard_normal((count, mode.vector.size))
        vectors = mode.vector + noise @ np.linalg.cholesky(mode.covariance).T
        parts.append(_in_data_units(mode.problem, vectors))
    return TwoHazardDraws(
        **{
            field.name: np.concatenate([getattr(part, field.name) for part in parts])[order]
            for field in fields(TwoHazardDraws)
        }
    )


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
    hastened = log_defect_ratio(draws.wear_defect_effects, tables[0])
    return LifeLaw(
        family=Family.WEIBULL,
        wear_location=location - draws.wear_sigma[:, None] * hastened,
        wear_sigma=draws.wear_sigma[:, None],
        install_log_rate=log_rate + install_log_ratio(draws, tables[0]),
        install_shape=draws.install_shape[:, None],
    )


def install_log_ratio(draws: TwoHazardDraws, defects: Array) -> Array:
    r"""Log ratio of the installation hazard to that of a clean disc, (n_draws, n).

    With F the product of 1 - x + x e^b and P of 1 - x, the mean over what was not recorded of
    the ratio of the defects present is P + e^f (F - P).
    """
    log_product = log_defect_ratio(draws.defect_effects, defects)
    if not draws.first_defect_effect.any():
        return log_product
    first, clean = draws.first_defect_effect[:, None], np.prod(1 - defects, axis=1)
    return np.asarray(np.log(clean + np.exp(first) * (np.exp(log_product) - clean)))


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
    at = problem.at
    k, beta = shapes(problem, vectors)
    log_reference = np.log(problem.reference_age)
    install = vectors[:, at.install] / problem.install_scale
    wear = vectors[:, at.duty] / problem.wear_scale
    install_level = vectors[:, at.install_level] - install @ problem.install_centre
    wear_level = vectors[:, at.wear_level] - wear @ problem.wear_centre
    wearing, none = vectors[:, at.wear_defects], np.zeros((len(vectors), problem.defects.shape[1]))
    return TwoHazardDraws(
        install_log_rate=install_level - k * log_reference,
        install_shape=k,
        defect_effects=vectors[:, at.defects],
        first_defect_effect=vectors[:, at.first].sum(axis=1),
        install_effects=install,
        wear_location=log_reference - wear_level / beta,
        wear_sigma=1 / beta,
        wear_effects=-wear / beta[:, None],
        wear_defect_effects=wearing if wearing.shape[1] else none,
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
