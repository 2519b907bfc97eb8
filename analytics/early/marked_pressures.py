"""Is the mark on a disc's record one that its lot, and its position, can carry?

A mark outside the manufacturing range that the position's disc is bought to, or one that the
lot's other records contradict, points to another disc than the one meant, or to a tag misread.
"""

from collections.abc import Mapping

import pandas as pd

from analytics.duty.lot_marks import settle_marks

__all__ = ["marked_pressures"]


def marked_pressures(lives: pd.DataFrame, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Put beside each life the mark of its disc and the marks its position asks for.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `install_id` and `position_id`.
    tables : mapping of str to DataFrame
        Checked logs; `discs`, `positions`, `installs` and `stock` are read.

    Returns
    -------
    DataFrame, index of `lives`
        `own_mark_barg` as logged, `mark_barg` as settled by the lot's records; `mark_disagrees`
        where the lot outvoted a mark that was logged; `asked_code`, the disc the position asks
        for today, with the least and greatest mark its manufacturing range allows, `asked_low`
        and `asked_high`, NaN where no range is on record. Pressures in barg.
    """
    installs = tables["installs"]
    settled = settle_marks(installs, tables["stock"]).assign(
        own=installs["marked_burst_pressure_barg"].astype(float),
        install_id=installs["install_id"],
    )
    settled = settled.drop_duplicates("install_id").set_index("install_id")
    of_life = settled.reindex(lives["install_id"]).set_axis(lives.index)
    asked = lives["position_id"].map(tables["positions"].set_index("position_id")["disc_code"])
    discs = tables["discs"].set_index("disc_code")
    specified, minus, plus = (
        asked.map(discs[name]).astype(float)
        for name in ("specified_burst_pressure_barg", "range_minus_pct", "range_plus_pct")
    )
    return pd.DataFrame(
        {
            "own_mark_barg": of_life["own"],
            "mark_barg": of_life["marked_burst_pressure_barg"],
            "mark_disagrees": of_life["own"].gt(0) & of_life["mark_basis"].eq("lot"),
            "asked_code": asked,
            "asked_low": specified * (1 - minus / 100),
            "asked_high": specified * (1 + plus / 100),
        }
    )
