"""What did each installed disc endure, and how does the disc now fitted stand?"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analytics.duty.alarms import alarm_words
from analytics.duty.ledger import WARM
from analytics.duty.lot_marks import settle_marks
from analytics.duty.observed import ENOUGH_COVERAGE, observed_lives, observed_temperature
from analytics.duty.ratio import burst_window, operating_margin, operating_ratio
from analytics.duty.tally import HistoryTally
from analytics.duty.temperature import temperature_factor
from analytics.duty.windows import life_windows

__all__ = ["burst_of_installs", "duty_per_install", "duty_per_position"]

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
    "temperature_curve",
    "max_operating_ratio",
]
_INSTALL_COLUMNS = ["install_id", "position_id", "disc_code", "marked_burst_pressure_barg"]
_DUTY_COLUMNS = [
    "operating_ratio",
    "ratio_basis",
    "pressure_basis",
    "cycles_per_year",
    "cycles_basis",
    "cycles_lower_bound",
    "share_above_limit",
    "coverage",
    "margin_bar",
    "minimum_burst_bar",
    "maximum_burst_bar",
    "disc_temperature_degc",
    "temperature_basis",
]
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
    "disc_temperature_degc",
    "temperature_basis",
    "alarm",
]


def duty_per_install(tables: Tables, history: HistoryTally | None = None) -> pd.DataFrame:
    """Give each installed disc its operating ratio and cycling.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `positions`, `discs`, `installs` and, if there is one, `removals`.
    history : HistoryTally, optional
        A scan of the historian, cut at the days of change.

    Returns
    -------
    DataFrame, one row per install, indexed by `install_id`
        `operating_ratio` (definition min_burst) [-], `ratio_basis` (tag, lot, specified),
        `pressure_basis` (history, nominal), `cycles_per_year` [1/years],
        `cycles_basis` (history of this life, history of the position, none),
        `cycles_lower_bound`, `share_above_limit` [-], `coverage` [-], `margin_bar`,
        `minimum_burst_bar`, `maximum_burst_bar`, `disc_temperature_degc` and
        `temperature_basis` (history, nominal). NaN where it cannot be known.

    Notes
    -----
    Burst pressures are those at the disc's own temperature where the discs table gives a
    curve that reaches it; else they are nominal, and an alarm says so. That temperature is
    the mean the historian read, when it read half of the life or more, else that of the
    positions table.
    The operating pressure is the one the disc stayed below for 95 % of its time, when
    the historian saw half of its life or more; else the position's nominal
    `max_operating_pressure`.
    """
    endured = _with_history(burst_of_installs(tables), life_windows(tables), history)
    return endured.set_index("install_id")[_DUTY_COLUMNS]


def duty_per_position(tables: Tables, history: HistoryTally | None = None) -> pd.DataFrame:
    """Say how the disc now fitted at each position stands, with alarms in words.

    Parameters
    ----------
    tables, history
        As in `duty_per_install`.

    Returns
    -------
    DataFrame, one row per position in the order of `positions`
        `position_id site disc_code family operating_ratio limit margin_bar
        share_above_limit cycles_per_year ratio_basis pressure_basis
        disc_temperature_degc temperature_basis alarm`. `limit`
        is the disc's stated maximum ratio, NaN when none is stated; `alarm` is
        blank when there is nothing to say. A position without an install on
        record is judged by its own disc code, untagged.
    """
    windows = life_windows(tables)
    order = windows.assign(row=np.arange(len(windows))).sort_values(["begins", "row"])
    latest = order.drop_duplicates("position_id", keep="last")["row"].to_numpy()
    own = tables["positions"][["position_id", "disc_code"]]
    fitted = own.merge(
        _installs(tables).iloc[latest],
        on="position_id",
        how="left",
        suffixes=("_own", ""),
    )
    fitted["disc_code"] = fitted["disc_code"].fillna(fitted["disc_code_own"])
    endured = _endured(_joined(fitted, tables))
    lives = windows.iloc[latest].set_index("position_id")[["begins", "ends"]]
    window = endured[["position_id"]].join(lives, on="position_id")
    endured = _with_history(endured, window, history)
    endured["alarm"] = alarm_words(endured)
    return endured.rename(columns={"max_operating_ratio": "limit"})[_FINDINGS_COLUMNS]


def burst_of_installs(tables: Tables) -> pd.DataFrame:
    """Put the position's pressures and the burst window beside each install, in its order.

    Nothing of the historian enters: the ratio is the nominal one.
    """
    return _endured(_joined(_installs(tables), tables))


def _with_history(
    endured: pd.DataFrame, windows: pd.DataFrame, history: HistoryTally | None
) -> pd.DataFrame:
    """Put what the historian saw in place of what the positions table states."""
    if history is None:
        return endured
    endured = _at_its_temperature(endured, windows, history)
    back = endured["back_pressure_barg"].fillna(0.0)
    limit = endured["minimum_burst_bar"] * endured["max_operating_ratio"] + back
    seen = observed_lives(
        history,
        windows,
        endured["marked_barg"].to_numpy(dtype=float),
        limit.to_numpy(dtype=float),
    ).set_index(endured.index)
    enough = seen["coverage"] >= ENOUGH_COVERAGE
    pressure = seen["high_barg"].where(enough, endured["max_operating_pressure_barg"])
    return endured.assign(
        operating_ratio=operating_ratio(pressure, endured["marked_barg"], back),
        margin_bar=operating_margin(pressure, endured["minimum_burst_bar"], back),
        pressure_basis=np.where(enough, "history", "nominal"),
        share_above_limit=seen["share_above_limit"].where(enough),
        cycles_per_year=seen["cycles_per_year"],
        cycles_basis=seen["cycles_basis"],
        cycles_lower_bound=seen["compressed"] & seen["cycles_per_year"].notna(),
        coverage=seen["coverage"],
        stuck_days=seen["stuck_days"],
        peak_barg=seen["peak_barg"],
        peak_at=seen["peak_at"],
    )


def _at_its_temperature(
    endured: pd.DataFrame, windows: pd.DataFrame, history: HistoryTally
) -> pd.DataFrame:
    """Work the burst window out anew at the temperature that the historian read."""
    if not history.ledger.parts[:, WARM].any():
        return endured
    degc = observed_temperature(history, windows)
    read = ~np.isnan(degc)
    stated = endured["disc_temperature_degc"]
    endured = _endured(endured.assign(disc_temperature_degc=np.where(read, degc, stated)))
    return endured.assign(temperature_basis=np.where(read, "history", "nominal"))


def _installs(tables: Tables) -> pd.DataFrame:
    """What an install says of its disc, with the mark its lot agrees on."""
    stock = tables.get("stock", tables["installs"].iloc[:0])
    settled = settle_marks(tables["installs"], stock)
    return tables["installs"][_INSTALL_COLUMNS].assign(
        marked_burst_pressure_barg=settled["marked_burst_pressure_barg"],
        mark_basis=settled["mark_basis"],
    )


def _joined(fitted: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Put the position's pressures and the disc's limits beside each fitted disc."""
    positions = tables["positions"][_POSITION_COLUMNS].drop_duplicates("position_id")
    discs = tables["discs"].reindex(columns=_DISC_COLUMNS).drop_duplicates("disc_code")
    return fitted.merge(positions, on="position_id", how="left").merge(
        discs, on="disc_code", how="left"
    )


def _endured(frame: pd.DataFrame) -> pd.DataFrame:
    """Work out the burst window, the ratio and the margin of each fitted disc."""
    # A pressure of 0 barg on a tag or an order is a blank that somebody filled in.
    marked = frame["marked_burst_pressure_barg"].where(lambda mark: mark > 0)
    specified = frame["specified_burst_pressure_barg"].where(lambda order: order > 0)
    factor = temperature_factor(
        frame["temperature_curve"],
        frame["disc_temperature_degc"],
        frame["coincident_temperature_degc"],
    )
    corrected = ~np.isnan(factor)
    at_disc = np.where(corrected, factor, 1.0)
    marked, specified = marked * at_disc, specified * at_disc
    window = burst_window(
        marked, specified, frame["range_minus_pct"], frame["range_plus_pct"].to_numpy()
    )
    operating = frame["max_operating_pressure_barg"]
    back = frame["back_pressure_barg"]
    basis = np.where(window.from_tag, frame["mark_basis"], "specified").astype(object)
    basis[np.isnan(window.marked)] = None
    return frame.assign(
        operating_ratio=operating_ratio(operating, window.marked, back),
        ratio_basis=basis,
        range_known=window.range_known,
        temperature_corrected=corrected,
        temperature_factor=at_disc,
        temperature_basis="nominal",
        pressure_basis="nominal",
        marked_barg=window.marked,
        margin_bar=operating_margin(operating, window.minimum, back),
        minimum_burst_bar=window.minimum,
        maximum_burst_bar=window.maximum,
        cycles_per_year=np.nan,
        cycles_basis="none",
        cycles_lower_bound=False,
        share_above_limit=np.nan,
        coverage=0.0,
        stuck_days=np.nan,
        peak_barg=np.nan,
        peak_at=np.datetime64("NaT", "ns"),
    )
