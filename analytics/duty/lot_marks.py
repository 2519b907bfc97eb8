"""What does a lot's other discs say of a tag that was not read, or misread?

All discs of a lot carry one marked burst pressure (API 521 and the trade: the mark is set
for the lot), so a record that is blank, or that contradicts the rest of its lot, takes
the mark the lot's other records agree on, and says so.
"""

import numpy as np
import pandas as pd

__all__ = ["settle_marks"]

_AGREE = 0.005
"""Relative difference up to which two records of a mark are one mark, rounded twice."""

_ENOUGH = 2
"""Records of the lot that must agree before they outvote a record of their own."""


def settle_marks(installs: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """Give each install the marked burst pressure its lot agrees on.

    Parameters
    ----------
    installs : DataFrame
        Checked installs table.
    stock : DataFrame
        Checked stock table, whose lots count as records too.

    Returns
    -------
    DataFrame, index of `installs`
        `marked_burst_pressure_barg` [barg] and `mark_basis`: `tag`, `lot` where the lot
        spoke instead, or None when no mark is known.

    Notes
    -----
    A lot speaks when two of its records or more agree within half a percent and they are
    more than half of all its records.

    Examples
    --------
    >>> installs = pd.DataFrame({"disc_code": ["D"] * 4, "lot": ["L"] * 4,
    ...     "marked_burst_pressure_barg": [10.0, 10.0, 145.0, np.nan]})
    >>> stock = installs.iloc[:1]
    >>> settle_marks(installs, stock).values.tolist()
    [[10.0, 'tag'], [10.0, 'tag'], [10.0, 'lot'], [10.0, 'lot']]
    """
    own = installs["marked_burst_pressure_barg"].astype(float)
    own = own.where(own > 0)
    spoken = _lot_mark(installs, stock)
    apart = (own - spoken).abs() > _AGREE * spoken
    outvoted = spoken.notna() & (own.isna() | apart)
    mark = own.mask(outvoted, spoken)
    basis = np.where(outvoted, "lot", "tag").astype(object)
    basis[mark.isna()] = None
    return pd.DataFrame({"marked_burst_pressure_barg": mark, "mark_basis": basis})


def _lot_mark(installs: pd.DataFrame, stock: pd.DataFrame) -> pd.Series:
    """The mark each install's lot agrees on; NaN where it does not."""
    names = ["disc_code", "lot"]
    columns = [*names, "marked_burst_pressure_barg"]
    records = pd.concat([installs[columns], stock[columns]]) if len(stock) else installs[columns]
    records = records.dropna()
    records = records[records["marked_burst_pressure_barg"] > 0]
    if records.empty:
        return pd.Series(np.nan, index=installs.index)
    marks = records.groupby(names)["marked_burst_pressure_barg"]
    middle = marks.median()
    near = (
        records["marked_burst_pressure_barg"] - marks.transform("median")
    ).abs() <= _AGREE * marks.transform("median")
    agreed = near.astype(int).groupby([records[name] for name in names]).sum()
    speaks = (agreed >= _ENOUGH) & (2 * agreed > marks.size())
    spoken = middle.where(speaks).rename("spoken").reset_index()
    return installs[names].merge(spoken, on=names, how="left")["spoken"].set_axis(installs.index)
