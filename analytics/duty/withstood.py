"""Did a disc stay whole at a pressure it should not have withstood?"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analytics.duty.grid import LEVELS_PER_BAR
from analytics.duty.ledger import HIGH, HIGH_AT
from analytics.duty.per_install import burst_of_installs
from analytics.duty.tally import HistoryTally
from analytics.duty.windows import life_windows, parts_in_windows

__all__ = ["pressures_withstood"]

Tables = Mapping[str, pd.DataFrame]


def pressures_withstood(tables: Tables, history: HistoryTally) -> pd.DataFrame:
    """List the pressures above marked plus tolerance after which the disc was still whole.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked frames `positions`, `discs`, `installs` and, if there is one, `removals`.
    history : HistoryTally
        A scan cut at the days of change.

    Returns
    -------
    DataFrame, one row per disc, latest first
        `position_id date what`. The disc may have failed to open, may be another than
        the record says, or the reading is wrong: each is to be looked at one by one.

    Notes
    -----
    A disc that was found burst, leaking or damaged counts as whole up to its
    `last_good_on`, or up to 31 days before it was found when that is not on record.
    The back pressure is that of the positions table.
    """
    windows = life_windows(tables)
    lives = burst_of_installs(tables)
    life = parts_in_windows(history, windows)
    inside = life >= 0
    parts, life = history.ledger.parts[inside], life[inside]
    back = lives["back_pressure_barg"].fillna(0.0).to_numpy(dtype=float)[life]
    most = lives["maximum_burst_bar"].to_numpy(dtype=float)[life]
    reached = parts[:, HIGH] / LEVELS_PER_BAR - back
    when = parts[:, HIGH_AT].astype("datetime64[ms]").astype("datetime64[D]")
    whole = windows["intact_until"].fillna(pd.Timestamp("2200-01-01")).to_numpy()[life]
    above = (reached > most) & (when < whole.astype("datetime64[D]"))
    found = pd.DataFrame(
        {
            "position_id": windows["position_id"].to_numpy()[life],
            "life": life,
            "date": when.astype("datetime64[ns]"),
            "reached": reached,
            "most": most,
        }
    )[above].sort_values(["life", "reached"], kind="stable")
    found = found.drop_duplicates("life", keep="last").sort_values(
        ["date", "position_id"], ascending=[False, True]
    )
    words = [
        f"{reached:.2f} bar across the disc, which should open by {most:.2f} bar; it stayed whole"
        for reached, most in zip(found["reached"], found["most"], strict=True)
    ]
    listed: pd.DataFrame = found[["position_id", "date"]].reset_index(drop=True)
    listed["what"] = np.array(words, dtype=object)
    return listed
