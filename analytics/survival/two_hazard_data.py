"""What does the two-hazard model need to know of each life? One checked value."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError
from analytics.survival.changing_duty import ChangingDuty, take_lives
from analytics.survival.lifetimes import Lifetimes

__all__ = ["TwoHazardData", "fill_unrecorded", "take_rows", "two_hazard_data"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoHazardData:
    """Lives with what is known of their installation and their duty.

    Build it with `two_hazard_data`, which checks.

    Attributes
    ----------
    lifetimes : Lifetimes
        n lives, ages in years.
    defects : ndarray, shape (n, J)
        Probability that each defect is present: 1 recorded, 0 check passed, its prevalence
        among recorded lives when the check was not recorded. [-]
    defect_names : tuple of str, length J
        One name per column.
    install_design : ndarray, shape (n, q)
        Log-linear covariates of the installation hazard, e.g. crew dummies. [any]
    install_names : tuple of str, length q
        One name per column.
    wear_design : ndarray, shape (n, r)
        Covariates of log life under wear, e.g. ln operating ratio, ln cycles per year,
        family dummies. [any]
    wear_names : tuple of str, length r
        One name per column.
    changing : ChangingDuty or None
        The lives whose duty changed; their rows of `wear_design` hold the constant duty that
        uses as much life. None when no duty changed.
    """

    lifetimes: Lifetimes
    defects: Array
    defect_names: tuple[str, ...]
    install_design: Array
    install_names: tuple[str, ...]
    wear_design: Array
    wear_names: tuple[str, ...]
    changing: ChangingDuty | None = None


def two_hazard_data(
    lifetimes: Lifetimes,
    *,
    defects: ArrayLike | None = None,
    defect_names: Sequence[str] = (),
    install_design: ArrayLike | None = None,
    install_names: Sequence[str] = (),
    wear_design: ArrayLike | None = None,
    wear_names: Sequence[str] = (),
) -> TwoHazardData:
    """Check the covariates of each life once and put them in the form the model takes.

    Parameters
    ----------
    lifetimes : Lifetimes
        n lives, ages in years.
    defects, install_design, wear_design : array_like, shapes (n, J), (n, q), (n, r), optional
        As in `TwoHazardData`; left out when nothing of the kind was recorded.
    defect_names, install_names, wear_names : sequence of str
        One name per column.

    Returns
    -------
    TwoHazardData
        The same, complete.

    Raises
    ------
    InputError
        If a shape, a name or a number does not fit; the first of them is named.
    """
    n = len(lifetimes)
    data = TwoHazardData(
        lifetimes=lifetimes,
        defects=_columns("defects", defects, n, defect_names),
        defect_names=tuple(defect_names),
        install_design=_columns("install_design", install_design, n, install_names),
        install_names=tuple(install_names),
        wear_design=_columns("wear_design", wear_design, n, wear_names),
        wear_names=tuple(wear_names),
    )
    outside = (data.defects < 0) | (data.defects > 1)
    if outside.any():
        row, column = np.argwhere(outside)[0]
        raise InputError(
            "defects must be probabilities in [0, 1] (fill unrecorded checks with their "
            f"prevalence), got {data.defects[row, column]:g} for {defect_names[column]!r} "
            f"in row {row + 1}"
        )
    return data


def take_rows(data: TwoHazardData, rows: ArrayLike) -> TwoHazardData:
    """Keep some of the lives, in the order given (an index may come twice, as in a bootstrap)."""
    keep = np.asarray(rows)
    lives = data.lifetimes
    return TwoHazardData(
        lifetimes=Lifetimes(
            entry=lives.entry[keep],
            lower=lives.lower[keep],
            upper=lives.upper[keep],
            weight=lives.weight[keep],
        ),
        defects=data.defects[keep],
        defect_names=data.defect_names,
        install_design=data.install_design[keep],
        install_names=data.install_names,
        wear_design=data.wear_design[keep],
        wear_names=data.wear_names,
        changing=take_lives(data.changing, _numbers(keep), len(lives)),
    )


def _numbers(keep: NDArray[np.generic]) -> NDArray[np.int64]:
    return np.flatnonzero(keep) if keep.dtype == bool else keep.astype(np.int64)


def fill_unrecorded(
    found: ArrayLike, strata: ArrayLike | None = None, *, fleet_records: float = 5.0
) -> Array:
    r"""Turn check records into probabilities of a defect.

    An unrecorded check takes the prevalence among the recorded lives of its own stratum,
    drawn towards the fleet's where the stratum has few records,

    .. math::
        p_{js} = \frac{d_{js} + c\,p_j}{r_{js} + c}

    with d defects among r records and c `fleet_records`. A check that nobody ever recorded
    comes back as 0 everywhere: it cannot explain anything.

    Parameters
    ----------
    found : array_like, shape (n, J)
        1 defect found, 0 check passed, NaN not recorded. [-]
    strata : array_like, shape (n,), optional
        Label of each life's stratum, such as crew and era. One stratum when left out.
    fleet_records : float, default 5
        How many records of its own a stratum needs before it counts as much as the fleet. [-]

    Returns
    -------
    ndarray, shape (n, J)
        Probabilities in [0, 1]. [-]

    Examples
    --------
    >>> fill_unrecorded([[1.0], [0.0], [np.nan]])[:, 0].tolist()
    [1.0, 0.0, 0.5]
    """
    records = np.array(found, dtype=float)
    labels = np.zeros(len(records)) if strata is None else np.asarray(strata)
    known = ~np.isnan(records)
    fleet = _prevalence(records, known, np.zeros(records.shape[1]), 0.0)
    for label in np.unique(labels):
        rows = labels == label
        own = _prevalence(records[rows], known[rows], fleet, fleet_records)
        records[rows] = np.where(known[rows], records[rows], own)
    return records


def _prevalence(records: Array, known: NDArray[np.bool_], towards: Array, count: float) -> Array:
    """Share of defects among the records of each column, with `count` records of `towards`."""
    defects = np.where(known, records, 0.0).sum(axis=0) + count * towards
    return np.asarray(defects / np.maximum(known.sum(axis=0) + count, 1.0))


def _columns(what: str, values: ArrayLike | None, n: int, names: Sequence[str]) -> Array:
    """Return an (n, len(names)) array of finite numbers or say what is wrong."""
    table = np.zeros((n, 0)) if values is None else np.array(values, dtype=float)
    if table.shape != (n, len(names)):
        raise InputError(
            f"{what} must have one row per life and one column per name, shape "
            f"({n}, {len(names)}); got {table.shape}"
        )
    if len(set(names)) != len(names):
        raise InputError(f"names of the columns of {what} must differ, got {list(names)}")
    if not np.isfinite(table).all():
        row, column = np.argwhere(~np.isfinite(table))[0]
        raise InputError(
            f"{what} must be finite numbers, got {table[row, column]} for {names[column]!r} "
            f"in row {row + 1}"
        )
    return table
