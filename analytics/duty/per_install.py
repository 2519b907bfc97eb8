"""What did each installed disc endure, and how does the disc now fitted stand?"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analytics.duty.alarms import alarm_words
from analytics.duty.ratio import burst_window, operating_margin, operating_ratio

__all__ = ["duty_per_install", "duty_per_position"]

Tables = Mapping[str, pd.DataFrame]

_POSITION_COLUMNS = [
    "position_id",
    "site",
    "max_operating_pressure_barg",
    "back_pressure_barg",
    "disc_temperature_degc",
]
_DISC_COLUMNS = [
    "disc_code",
    "family",
    "specified_burst_pressure_barg",
    "coincident_temperature_degc",
    "range_minus_pct",
    "range_plus_pct",
    "max_operating_ratio",
]
_INSTALL_COLUMNS = ["install_id", "position_id", "disc_code", "marked_burst_pressure_barg"]
_FINDINGS_COLUMNS = [
    "position_id",
    "site",
    "disc_code",
    "family",
    "operating_ratio",
    "limit",
    "margin_bar",
    "share_above_limit",
    "cycles_per_year",
    "ratio_basis",
    "pressure_basis",
    "alarm",
]


def duty_per_install(tables: Tables) -> pd.DataFrame:
    """Give each installed disc its operating ratio and cycling.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `positions`, `discs` and `installs`.

    Returns
    -------
    DataFrame, one row per install, indexed by `install_id`
        `operating_ratio` (definition min_burst) [-], `ratio_basis` (tag, specified),
        `pressure_basis` (nominal), `cycles_per_year` [1/years], `cycles_basis`
        (none), `share_above_limit` [-], `margin_bar`, `minimum_burst_bar`,
        `maximum_burst_bar`. NaN where it cannot be known.
    """
    endured = _endured(_joined(tables["installs"][_INSTALL_COLUMNS], tables))
    return endured.set_index("install_id")[
        [
            "operating_ratio",
            "ratio_basis",
            "pressure_basis",
            "cycles_per_year",
            "cycles_basis",
            "share_above_limit",
            "margin_bar",
            "minimum_burst_bar",
            "maximum_burst_bar",
        ]
    ]


def duty_per_position(tables: Tables) -> pd.DataFrame:
    """Say how the disc now fitted at each position stands, with alarms in words.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `positions`, `discs` and `installs`.

    Returns
    -------
    DataFrame, one row per position in the order of `positions`
        `position_id site disc_code family operating_ratio limit margin_bar
        share_above_limit cycles_per_year ratio_basis pressure_basis alarm`. `limit`
        is the disc's stated maximum ratio, NaN when none is stated; `alarm` is
        blank when there is nothing to say. A position without an install on
        record is judged by its own disc code, untagged.
    """
    installs = tables["installs"].sort_values(["installed_on", "source_line"], kind="stable")
    latest = installs.drop_duplicates("position_id", keep="last")[_INSTALL_COLUMNS]
    own = tables["positions"][["position_id", "disc_code"]]
    fitted = own.merge(latest, on="position_id", how="left", suffixes=("_own", ""))
    fitted["disc_code"] = fitted["disc_code"].fillna(fitted["disc_code_own"])
    endured = _endured(_joined(fitted, tables))
    endured["alarm"] = alarm_words(endured)
    return endured.rename(columns={"max_operating_ratio": "limit"})[_FINDINGS_COLUMNS]


def _joined(fitted: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Put the position's pressures and the disc's limits beside each fitted disc."""
    positions = tables["positions"][_POSITION_COLUMNS].drop_duplicates("position_id")
    discs = tables["discs"][_DISC_COLUMNS].drop_duplicates("disc_code")
    return fitted.merge(positions, on="position_id", how="left").merge(
        discs, on="disc_code", how="left"
    )


def _endured(frame: pd.DataFrame) -> pd.DataFrame:
    """Work out the burst window, the ratio and the margin of each fitted disc."""
    # A pressure of 0 barg on a tag or an order is a blank that somebody filled in.
    marked = frame["marked_burst_pressure_barg"].where(lambda mark: mark > 0)
    specified = frame["specified_burst_pressure_barg"].where(lambda order: order > 0)
    window = burst_window(
        marked, specified, frame["range_minus_pct"], frame["range_plus_pct"].to_numpy()
    )
    operating = frame["max_operating_pressure_barg"]
    back = frame["back_pressure_barg"]
    basis = np.where(window.from_tag, "tag", "specified").astype(object)
    basis[np.isnan(window.marked)] = None
    return frame.assign(
        operating_ratio=operating_ratio(operating, window.marked, back),
        ratio_basis=basis,
        range_known=window.range_known,
        pressure_basis="nominal",
        pressure_barg=operating,
        margin_bar=operating_margin(operating, window.minimum, back),
        minimum_burst_bar=window.minimum,
        maximum_burst_bar=window.maximum,
        cycles_per_year=np.nan,
        cycles_basis="none",
        share_above_limit=np.nan,
    )
