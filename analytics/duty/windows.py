"""Between which days was each disc in, and on which days was a disc changed?"""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.duty.ledger import FIRST, LAST, POSITION
from analytics.duty.tally import HistoryTally

__all__ = ["change_days", "life_windows", "parts_in_windows"]

Tables = Mapping[str, pd.DataFrame]

_DAY = pd.Timedelta(days=1)
_NEVER = pd.Timestamp("2200-01-01")
_REACTS_LATE = ("burst", "leak", "damage_found", "unknown")
_FOUND_WITHIN = pd.Timedelta(days=31)


def change_days(tables: Tables) -> dict[str, NDArray[np.datetime64]]:
    """List the days on which the disc at each position was changed or found gone.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `installs` and, if there is one, `removals`.

    Returns
    -------
    dict of str to ndarray of datetime64[D]
        What `scan_history` asks for.
    """
    frames = [tables["installs"][["position_id", "installed_on"]].set_axis(["at", "on"], axis=1)]
    if "removals" in tables:
        frames.append(
            tables["removals"][["position_id", "found_on"]].set_axis(["at", "on"], axis=1)
        )
    days = pd.concat(frames).dropna()
    return {
        str(name): np.unique(group.to_numpy().astype("datetime64[D]"))
        for name, group in days.groupby("at")["on"]
    }


def life_windows(tables: Tables) -> pd.DataFrame:
    """Say from when to when each installed disc was in.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `installs` and, if there is one, `removals`.

    Returns
    -------
    DataFrame, one row per install, in its order
        `install_id`, `position_id`, `begins` (the day after it went in), `ends` (the day
        it was found gone or the next one went in, NaT while it is in) and `intact_until`
        (to when the disc is known to have been whole). The days of a change belong to
        neither disc: who was in when the pressure rose is not on record.
    """
    installs = tables["installs"][["install_id", "position_id", "installed_on"]]
    windows = installs.assign(row=np.arange(len(installs)))
    later = windows.sort_values(["position_id", "installed_on", "row"])
    following = later.groupby("position_id")["installed_on"].shift(-1).reindex(windows.index)
    removal = _first_removal(windows, tables)
    ends = pd.concat([following, removal["found_on"]], axis=1).min(axis=1)
    gone = removal["reason"].isin(_REACTS_LATE) & (removal["found_on"] <= ends)
    known_whole = removal["last_good_on"].fillna(ends - _FOUND_WITHIN)
    return pd.DataFrame(
        {
            "install_id": installs["install_id"],
            "position_id": installs["position_id"],
            "begins": installs["installed_on"] + _DAY,
            "ends": ends,
            "intact_until": ends.mask(gone, known_whole),
        }
    )


def _first_removal(windows: pd.DataFrame, tables: Tables) -> pd.DataFrame:
    """Find the first removal after the day of each install."""
    columns = ["position_id", "found_on", "last_good_on", "reason"]
    removals = tables.get("removals", pd.DataFrame(columns=columns)).reindex(columns=columns)
    removals = removals.astype({"found_on": "datetime64[ns]", "last_good_on": "datetime64[ns]"})
    left = windows[["position_id", "installed_on"]].assign(where=windows.index)
    joined = pd.merge_asof(
        left.sort_values("installed_on"),
        removals.sort_values("found_on"),
        left_on="installed_on",
        right_on="found_on",
        by="position_id",
        direction="forward",
        allow_exact_matches=False,
    )
    return joined.set_index("where").reindex(windows.index)


def parts_in_windows(history: HistoryTally, windows: pd.DataFrame) -> NDArray[np.int64]:
    """Find the life that each tally part lies in.

    Parameters
    ----------
    history : HistoryTally
        A scan cut at the days of change.
    windows : DataFrame
        `position_id begins ends`; lives of one position do not overlap.

    Returns
    -------
    ndarray of int, shape (n_parts,)
        Row number in `windows`, -1 for a part that lies in none or across an end.
    """
    number = {name: index for index, name in enumerate(history.positions)}
    begin = _milliseconds(windows["begins"].fillna(_NEVER))  # no install on record: no window
    end = _milliseconds(windows["ends"].fillna(_NEVER))
    parts = history.ledger.parts
    found = np.full(len(parts), -1, np.int64)
    for name, labels in windows.groupby("position_id").indices.items():
        rows = np.asarray(labels, dtype=np.int64)
        code = number.get(str(name))
        if code is None:
            continue
        own = np.flatnonzero(parts[:, POSITION] == code)
        lives = rows[np.argsort(begin[rows], kind="stable")]
        life = np.searchsorted(begin[lives], parts[own, FIRST], side="right") - 1
        inside = (life >= 0) & (parts[own, LAST] < end[lives[life]])
        found[own[inside]] = lives[life[inside]]
    return found


def _milliseconds(dates: "pd.Series[pd.Timestamp]") -> NDArray[np.int64]:
    return np.asarray(dates.to_numpy().astype("datetime64[ms]").astype(np.int64))
