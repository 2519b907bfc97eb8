"""How many defects were found at each fitting, and how many were to be expected of its checks?

A check answered no is a defect found; each check brings its own prevalence over the whole log, so
that recording another check is no change of quality. Only fittings after the log began: of those
before it only the discs that lasted are known.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.installs.checklist import DEFECTS
from analytics.lives.events import Ending

__all__ = ["FoundDefects", "found_defects"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundDefects:
    """Fittings with checks on record.

    Attributes
    ----------
    fittings : DataFrame, n rows
        `installed_on site crew` of each.
    found : ndarray, shape (n,)
        Checks answered no. [defects]
    recorded : ndarray, shape (n,)
        Checks answered at all. [checks]
    expected : ndarray, shape (n,)
        Defects that the same checks found on average over the fleet and the log. [defects]
    """

    fittings: pd.DataFrame
    found: Array
    recorded: Array
    expected: Array


def found_defects(lives: pd.DataFrame) -> FoundDefects | None:
    """Count the defects found at each fitting.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.

    Returns
    -------
    FoundDefects or None
        None when no defect was ever found.
    """
    known = lives["age_known"] & lives["entry_years"].eq(0) & lives["installed_on"].notna()
    rows = lives[known & lives["ending"].ne(Ending.WRONG_DISC.value)]
    passed = np.column_stack(
        [rows[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan) for name in DEFECTS]
    )
    recorded = ~np.isnan(passed)
    failed = recorded & (passed == 0)
    prevalence = failed.sum(axis=0) / np.maximum(recorded.sum(axis=0), 1)
    kept = np.flatnonzero(recorded.any(axis=1))
    if not failed.any():
        return None
    return FoundDefects(
        fittings=rows[["installed_on", "site", "crew"]].iloc[kept].reset_index(drop=True),
        found=failed[kept].sum(axis=1).astype(float),
        recorded=recorded[kept].sum(axis=1).astype(float),
        expected=np.asarray(recorded[kept] @ prevalence, dtype=float),
    )
