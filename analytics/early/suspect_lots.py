"""Where is a suspect lot, what is to be done with each disc of it, and what else explains it?"""

from collections.abc import Iterator

import pandas as pd

from analytics.installs.checklist import DEFECTS
from analytics.lives.events import Ending

__all__ = ["BIN", "POSITION", "lot_places", "what_else"]

_MUCH = 0.5
"""Part of a lot's failures that something must be common to, to be named. Our choice."""

_FEWEST = 2

_SAME_DAYS = 3
"""Failures this close together may be one upset. Our choice. [days]"""

BIN = "take it out of the bin, tag it HOLD, issue none until the responsible engineer releases it"
POSITION = (
    "leave it in place, fit no disc of this lot here, and ask the responsible engineer whether "
    "to change it before its date"
)


def lot_places(lots: pd.DataFrame, lives: pd.DataFrame, stock: pd.DataFrame) -> pd.DataFrame:
    """List every bin and every position that holds a disc of a suspect lot.

    Parameters
    ----------
    lots : DataFrame
        Needs `lot` and `suspect`.
    lives : DataFrame, one row per life
        The lives frame.
    stock : DataFrame
        Checked stock table.

    Returns
    -------
    DataFrame, lot by lot, bins first
        The `lot_places` frame of `analytics.findings.Findings`.
    """
    suspect = lots.loc[lots["suspect"].astype(bool), "lot"]
    bins = stock[stock["lot"].isin(suspect) & stock["quantity"].gt(0).fillna(False)]
    running = lives[lives["ending"].eq(Ending.IN_SERVICE.value) & lives["lot"].isin(suspect)]
    columns = ["lot", "store", "position_id", "disc_code", "pieces", "since", "action"]
    shelf = bins.assign(position_id="", pieces=bins["quantity"], since=bins["received_on"])
    fitted = running.assign(pieces=1, since=running["installed_on"])
    parts = [shelf.assign(action=BIN)[columns], fitted.assign(action=POSITION)[columns]]
    places = pd.DataFrame({name: [*parts[0][name], *parts[1][name]] for name in columns}).astype(
        {"since": "datetime64[ns]"}
    )
    rank = {lot: place for place, lot in enumerate(suspect)}
    order = places.assign(rank=places["lot"].map(rank), fitted=places["position_id"].ne(""))
    order = order.sort_values(["rank", "fitted", "store", "position_id"], kind="stable")
    return order[columns].reset_index(drop=True)


def what_else(lot: str, lives: pd.DataFrame) -> str:
    """Say what the failures of a lot have in common besides the lot.

    Parameters
    ----------
    lot : str
        Name of the lot.
    lives : DataFrame, one row per life
        The lives frame.

    Returns
    -------
    str
        Phrases joined by `; `, or that the record shows nothing.
    """
    rows = lives[lives["lot"].eq(lot)]
    failed = rows[rows["ending"].isin([Ending.PREMATURE.value, Ending.UNCLEAR.value])]
    said = [*_shared(failed, rows), *_together(failed), *_doubts(failed)]
    return "; ".join(said) or "the record shows nothing else that its failures share"


def _shared(failed: pd.DataFrame, rows: pd.DataFrame) -> Iterator[str]:
    """Name the place or crew most failures share, where the lot's other discs do not."""
    for column, word in (("position_id", "position"), ("unit", "unit"), ("crew", "crew")):
        known = failed[column].dropna()
        if known.empty:
            continue
        name, count = known.value_counts().index[0], int(known.value_counts().iloc[0])
        part, of_all = count / len(failed), float(rows[column].eq(name).mean())
        if count >= _FEWEST and part >= _MUCH and part > 1.5 * of_all:
            yield f"{count} of its {len(failed)} failures share {word} {name}"


def _together(failed: pd.DataFrame) -> Iterator[str]:
    days = failed["ended_on"].sort_values().reset_index(drop=True)
    close = days.diff() <= pd.Timedelta(days=_SAME_DAYS)
    count = int((close | close.shift(-1, fill_value=False)).sum())
    if count >= _FEWEST and count >= _MUCH * len(failed):
        yield f"{count} of its {len(failed)} failures came within {_SAME_DAYS} days: one upset?"


def _doubts(failed: pd.DataFrame) -> Iterator[str]:
    unclear = int(failed["ending"].eq(Ending.UNCLEAR.value).sum())
    if unclear:
        yield f"{unclear} of its {len(failed)} endings are unclear and may have been real upsets"
    amiss = int((~failed[list(DEFECTS)].fillna(True).astype(bool)).any(axis=1).sum())
    if amiss:
        yield f"{amiss} of its {len(failed)} failures had a defect on the install record"
