"""What about a disc's duty must somebody look at now?"""

from collections.abc import Hashable
from typing import Any

import numpy as np
import pandas as pd

__all__ = ["TEMPERATURE_LIMIT_DEGC", "alarm_words"]

TEMPERATURE_LIMIT_DEGC = 10.0
"""Disc and tag temperatures further apart than this are flagged; common practice, no source."""


def alarm_words(endured: pd.DataFrame) -> list[str]:
    """Say in words what is wrong with each disc's duty; blank when nothing is.

    Parameters
    ----------
    endured : DataFrame
        One row per disc with `operating_ratio max_operating_ratio ratio_basis
        range_known minimum_burst_bar maximum_burst_bar back_pressure_barg peak_barg
        peak_at stuck_days cycles_lower_bound disc_temperature_degc
        coincident_temperature_degc temperature_corrected`.

    Returns
    -------
    list of str
        One per row, the gravest first, joined by semicolons.
    """
    return ["; ".join(_words(row)) for row in endured.to_dict("records")]


def _words(row: dict[Hashable, Any]) -> list[str]:
    return _pressure_words(row) + _record_words(row) + _history_words(row)


def _pressure_words(row: dict[Hashable, Any]) -> list[str]:
    words: list[str] = []
    peak = row["peak_barg"] - np.nan_to_num(row["back_pressure_barg"])
    if peak > row["maximum_burst_bar"]:
        words.append(
            f"{peak:.2f} bar across the disc on {row['peak_at']:%Y-%m-%d}, above the "
            f"{row['maximum_burst_bar']:.2f} bar at which it should have opened: it may not open"
        )
    ratio, limit = row["operating_ratio"], row["max_operating_ratio"]
    if ratio > 1:
        words.append(f"operating ratio {ratio:.3f} is above 1: a good disc may burst in normal use")
    elif ratio > limit:
        words.append(f"operating ratio {ratio:.3f} is above the disc's maximum {limit:.2f}")
    if row["minimum_burst_bar"] <= 0:
        words.append("marked at or below 2 psi: the maker's own burst tolerance is needed")
    return words


def _record_words(row: dict[Hashable, Any]) -> list[str]:
    words: list[str] = []
    if row["ratio_basis"] is None:
        words.append("no burst pressure on record")
    elif not row["range_known"]:
        words.append("no tag value and no manufacturing range: the specified pressure stands in")
    apart = abs(row["disc_temperature_degc"] - row["coincident_temperature_degc"])
    doubtful = np.isfinite(apart) and not row["temperature_corrected"]
    if doubtful and apart > TEMPERATURE_LIMIT_DEGC:
        words.append(
            f"disc runs at {row['disc_temperature_degc']:.0f} degC, its burst pressure is stated "
            f"at {row['coincident_temperature_degc']:.0f} degC: the ratio is nominal"
        )
    return words


def _history_words(row: dict[Hashable, Any]) -> list[str]:
    words: list[str] = []
    if row["stuck_days"] > 0:
        words.append(f"the pressure reading stood still for {row['stuck_days']:.0f} days")
    if row["cycles_lower_bound"]:
        words.append("the historian stores changes only: the count of cycles is a lower bound")
    return words
