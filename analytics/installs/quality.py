"""How well each disc was fitted, from its install record alone.

A check is yes, no or not recorded, and not recorded never counts as a pass.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.installs.checklist import DEFECTS
from analytics.installs.torque import TORQUE_BAND, torque_ratio
from analytics.logs.tables import CHECKS

__all__ = ["install_quality"]


def install_quality(installs: pd.DataFrame) -> pd.DataFrame:
    """Give every check of every install, with those worked out from torque.

    Parameters
    ----------
    installs : DataFrame, one row per install
        Checked installs table.

    Returns
    -------
    DataFrame, same index
        One nullable boolean column per name in `DEFECTS` (True passed, False a
        defect, <NA> not recorded), then `checks_passed`, `checks_recorded` and
        `torque_ratio` [-].

    Examples
    --------
    >>> record = pd.DataFrame({name: pd.array([None], dtype="boolean") for name in CHECKS})
    >>> record["seat_clean"] = pd.array([False], dtype="boolean")
    >>> record = record.assign(torque_applied_nm=[130.0], torque_target_nm=[100.0])
    >>> install_quality(record)[["seat_clean", "torque_not_high", "checks_recorded"]].values
    array([[False, False, 3]], dtype=object)
    """
    ratio = torque_ratio(
        installs["torque_applied_nm"].to_numpy(dtype=float),
        installs["torque_target_nm"].to_numpy(dtype=float),
    )
    checks = installs[list(CHECKS)].astype("boolean")
    checks["torque_not_low"] = _within(ratio, ratio >= TORQUE_BAND[0])
    checks["torque_not_high"] = _within(ratio, ratio <= TORQUE_BAND[1])
    recorded = checks[list(DEFECTS)].notna().sum(axis=1)
    passed = checks[list(DEFECTS)].fillna(False).sum(axis=1)
    return checks.assign(
        checks_passed=passed.astype(int),
        checks_recorded=recorded.astype(int),
        torque_ratio=ratio,
    )


def _within(ratio: NDArray[np.float64], passed: NDArray[np.bool_]) -> pd.arrays.BooleanArray:
    known = ~np.isnan(ratio)
    return pd.arrays.BooleanArray(passed & known, ~known)
