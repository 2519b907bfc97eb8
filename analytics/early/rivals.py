"""What else could explain an early failure, each with the evidence at hand.

An installation defect is never the only suspect. Each explanation says what the
record shows and, where the record is silent, what would settle it.
"""

from collections.abc import Hashable, Mapping
from typing import Any

import numpy as np
import pandas as pd

from analytics.lives.events import Ending

__all__ = ["rival_explanations"]

WARMER_DEGC = 20.0
"""Difference between disc and tag temperature worth a word. Common practice, no source."""

_BUSY_QUANTILE = 0.9


def rival_explanations(
    lives: pd.DataFrame,
    discs: pd.DataFrame,
    positions: pd.DataFrame,
    flagged_lots: frozenset[str],
) -> dict[str, tuple[str, ...]]:
    """List the rival explanations of every premature failure.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    discs, positions : DataFrame
        Checked tables.
    flagged_lots : frozenset of str
        Lots that fail more often than their duty explains.

    Returns
    -------
    dict of str to tuple of str
        life_id to plain phrases, strongest evidence first.
    """
    rows = lives[lives["ending"].eq(Ending.PREMATURE.value)]
    limit = rows["disc_code"].map(discs.set_index("disc_code")["max_operating_ratio"])
    tag = rows["disc_code"].map(discs.set_index("disc_code")["coincident_temperature_degc"])
    disc = rows["position_id"].map(positions.set_index("position_id")["disc_temperature_degc"])
    busy = lives["cycles_per_year"].astype(float).quantile(_BUSY_QUANTILE)
    described = rows.assign(limit=limit, warmer=disc.astype(float) - tag.astype(float))
    return {
        str(row["life_id"]): tuple(_explain(row, busy, flagged_lots))
        for row in described.to_dict("records")
    }


def _explain(row: Mapping[Hashable, Any], busy: float, flagged_lots: frozenset[str]) -> list[str]:
    ratio, limit = _number(row["operating_ratio"]), _number(row["limit"])
    cycles, warmer = _number(row["cycles_per_year"]), _number(row["warmer"])
    phrases = []
    if row["lot"] in flagged_lots:
        phrases.append(f"its lot {row['lot']} fails more often than duty explains")
    if ratio > limit:
        phrases.append(f"operating ratio {ratio:.2f} above the limit {limit:.2f}")
    if row.get("tag_matches") is False:
        phrases.append("the tag did not match the position")
    if cycles >= busy:
        phrases.append(f"about {cycles:,.0f} pressure cycles a year, among the busiest tenth")
    if abs(warmer) > WARMER_DEGC:
        word = "warmer" if warmer > 0 else "colder"
        phrases.append(f"disc {abs(warmer):.0f} degC {word} than its tag assumes")
    if row["reason"] == "burst" and np.isnan(_number(row["peak_pressure_barg"])):
        phrases.append("no peak pressure on record: a short spike is not ruled out")
    return phrases


def _number(value: object) -> float:
    return float("nan") if value is None or value is pd.NA else float(str(value))
