"""One row per disc life, with every id that made it and all that was inferred."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.installs.checklist import DEFECTS
from analytics.installs.quality import install_quality
from analytics.lives.events import Ending, endings
from analytics.lives.pairing import NO_ROW, pair_events

__all__ = ["DAYS_PER_YEAR", "Lives", "build_lives"]

DAYS_PER_YEAR = 365.25
HALF_DAY_YEARS = 0.5 / DAYS_PER_YEAR

_FROM_POSITION = [
    "site",
    "unit",
    "service",
    "store",
    "criticality",
    "turnaround_group",
    "back_pressure_barg",
]
_FROM_INSTALL = [
    "install_id",
    "lot",
    "crew",
    "holder_id",
    "marked_burst_pressure_barg",
    *DEFECTS,
    "checks_passed",
    "checks_recorded",
    "torque_ratio",
]
_FROM_DUTY = [
    "operating_ratio",
    "ratio_basis",
    "pressure_basis",
    "cycles_per_year",
    "cycles_basis",
    "share_above_limit",
    "minimum_burst_bar",
    "maximum_burst_bar",
]
_FROM_REMOVAL = [
    "removal_id",
    "event_group",
    "reason",
    "peak_pressure_barg",
    "cost",
    "downtime_h",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lives:
    """Disc lives and what had to be inferred to make them.

    Attributes
    ----------
    frame : DataFrame
        One row per life; columns in DEVELOPERS.md.
    inferred : tuple of str
        Plain sentences with counts.
    """

    frame: pd.DataFrame
    inferred: tuple[str, ...]


def build_lives(
    tables: Mapping[str, pd.DataFrame],
    duty: pd.DataFrame,
    *,
    log_begins: date,
    export_date: date,
) -> Lives:
    """Make disc lives from the checked logs.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked logs; `positions`, `discs`, `installs` and `removals` are read.
    duty : DataFrame
        One row per install, indexed by `install_id`, as `duty_per_install` gives.
    log_begins, export_date : date
        First and last day on which an ending would have been logged.

    Returns
    -------
    Lives
        Lives that were at least partly seen between the two days.

    Notes
    -----
    Ages count from the install in years of 365.25 days. A disc fitted before the
    log began enters at its age on that day (left truncation). Leaks and damage lie
    between the last look and the find; a burst is seen on its day. A life of no
    days counts half a day. A life whose install is not on record has no age: it is
    kept and counted, with `age_known` False.
    """
    installs = tables["installs"].reset_index(drop=True)
    removals = tables["removals"].reset_index(drop=True)
    positions = tables["positions"].set_index("position_id")
    pairs = pair_events(list(positions.index), installs, removals)

    frame = _joined(pairs, positions, tables["discs"], installs, removals, duty)
    frame = _with_endings(frame)
    frame = _with_ages(frame, pd.Timestamp(log_begins), pd.Timestamp(export_date))
    seen = ~(frame["ended_on"] < pd.Timestamp(log_begins))
    sentences = _sentences(frame[seen], before_log=int((~seen).sum()))
    return Lives(frame=frame[seen].reset_index(drop=True), inferred=sentences)


def _joined(
    pairs: pd.DataFrame,
    positions: pd.DataFrame,
    discs: pd.DataFrame,
    installs: pd.DataFrame,
    removals: pd.DataFrame,
    duty: pd.DataFrame,
) -> pd.DataFrame:
    """Put everything known about each life into its row."""
    fitted = pd.concat([installs, install_quality(installs)[_added(installs)]], axis=1)
    fitted = fitted.join(duty.reindex(columns=_FROM_DUTY), on="install_id")
    from_install = _take(fitted, pairs["install_row"], [*_FROM_INSTALL, *_FROM_DUTY])
    from_install["disc_code"] = _take(fitted, pairs["install_row"], ["disc_code"])["disc_code"]
    from_install["installed_on"] = _take(fitted, pairs["install_row"], ["installed_on"])
    from_removal = _take(
        removals, pairs["removal_row"], [*_FROM_REMOVAL, "found_on", "last_good_on", "upset"]
    )
    from_position = positions.loc[pairs["position_id"], _FROM_POSITION].reset_index(drop=True)
    frame = pd.concat([pairs, from_position, from_install, from_removal], axis=1)
    required = positions.loc[pairs["position_id"], "disc_code"].to_numpy()
    frame["disc_code"] = frame["disc_code"].where(frame["disc_code"].notna(), required)
    frame["family"] = frame["disc_code"].map(discs.set_index("disc_code")["family"])
    unknown = "?" + frame["position_id"] + "/" + frame["removal_id"].fillna("")
    frame["life_id"] = frame["install_id"].where(frame["install_id"].notna(), unknown)
    return frame


def _added(installs: pd.DataFrame) -> list[str]:
    return [
        name
        for name in [*DEFECTS, "checks_passed", "checks_recorded", "torque_ratio"]
        if name not in installs
    ]


def _take(table: pd.DataFrame, rows: pd.Series, columns: list[str]) -> pd.DataFrame:
    """Rows of a table by number; all blank where the number is `NO_ROW`."""
    chosen = table[columns].reindex(rows.where(rows != NO_ROW, len(table)))
    return chosen.reset_index(drop=True)


def _with_endings(frame: pd.DataFrame) -> pd.DataFrame:
    # The disc feels the difference of both sides; the log gives the upstream gauge pressure.
    downstream = frame["back_pressure_barg"].fillna(0.0).to_numpy(dtype=float)
    kind = endings(
        frame,
        frame["minimum_burst_bar"].to_numpy(dtype=float) + downstream,
        frame["maximum_burst_bar"].to_numpy(dtype=float) + downstream,
    )
    missing = frame["next_installed_on"].notna()
    running = frame["removal_row"].eq(NO_ROW) & ~missing
    kind = kind.mask(missing, Ending.UNCLEAR.value).mask(running, Ending.IN_SERVICE.value)
    return frame.assign(ending=kind.astype(object))


def _with_ages(
    frame: pd.DataFrame, log_begins: pd.Timestamp, export_date: pd.Timestamp
) -> pd.DataFrame:
    """Add the ages between which each life was seen and ended."""
    start = frame["installed_on"]
    ended = frame["found_on"].fillna(frame["next_installed_on"]).fillna(export_date)
    age = _years(start, ended)
    first_day = age.eq(0) & frame["ending"].ne(Ending.IN_SERVICE.value)
    age = age.mask(first_day, HALF_DAY_YEARS)
    entry = _years(start, pd.Series(log_begins, index=frame.index)).clip(lower=0.0)

    found_later = frame["reason"].isin(["leak", "damage_found"])
    last_good = _years(start, frame["last_good_on"]).fillna(0.0).clip(lower=0.0)
    lower = age.mask(found_later, last_good.clip(lower=entry).clip(upper=age))
    lower = lower.mask(frame["next_installed_on"].notna(), entry.clip(upper=age))
    notes = frame["inferred"].mask(first_day, "came out on the day it went in: half a day of life")
    return frame.assign(
        ended_on=ended,
        observed_from=_observed_from(frame["position_id"], start, ended, log_begins),
        entry_years=entry,
        age_years=age,
        lower_years=lower,
        upper_years=age.mask(frame["ending"].eq(Ending.IN_SERVICE.value), np.inf),
        age_known=start.notna() & (age > entry),
        inferred=notes,
    ).drop(columns=["install_row", "removal_row", "next_installed_on"])


def _observed_from(
    position: pd.Series, start: pd.Series, ended: pd.Series, log_begins: pd.Timestamp
) -> pd.Series:
    """First day each life was watched; without an install, since the disc before it."""
    before = ended.groupby(position).shift()
    known: pd.Series = start.fillna(before).fillna(log_begins)
    return known.where(known > log_begins, log_begins)


def _years(start: pd.Series, end: pd.Series) -> pd.Series:
    days: pd.Series = (end - start).dt.total_seconds() / 86_400
    return days / DAYS_PER_YEAR


def _sentences(frame: pd.DataFrame, *, before_log: int) -> tuple[str, ...]:
    """Say how often each thing was inferred."""
    counted = frame.loc[frame["inferred"] != "", "inferred"].value_counts()
    sentences = [f"{count} lives: {words}" for words, count in counted.items()]
    truncated = int((frame["entry_years"] > 0).sum())
    if truncated:
        sentences.append(
            f"{truncated} discs were already in service when the log began; "
            "each counts from its age on that day"
        )
    if before_log:
        sentences.append(f"{before_log} lives ended before the log began and are left out")
    return tuple(sentences)
