"""Which install and which removal belong to one disc.

A position holds one disc at a time, so its installs and removals alternate.
Where the log breaks that chain, the missing row is inferred and said so.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

import pandas as pd

__all__ = ["NO_ROW", "pair_events"]

NO_ROW = -1
"""Stands for a row that is not in the log."""

_REMOVAL, _INSTALL = 0, 1


@dataclass(frozen=True, slots=True)
class _Event:
    day: pd.Timestamp
    kind: int
    row: int


def pair_events(
    positions: list[str], installs: pd.DataFrame, removals: pd.DataFrame
) -> pd.DataFrame:
    """Pair every install with the removal that ended it, position by position.

    Parameters
    ----------
    positions : list of str
        Every position there is; one without any row holds a disc of unknown age.
    installs, removals : DataFrame
        Checked tables with a plain 0..n-1 index.

    Returns
    -------
    DataFrame, one row per disc life
        `position_id`, `install_row` and `removal_row` (index into the tables,
        `NO_ROW` when not logged), `next_installed_on` (the day a second install
        shows that a removal is missing, else NaT) and `inferred` (plain words).

    Notes
    -----
    A removal on the day of an install ended the disc before it. Where no disc was
    in, either the new one came out on its first day, if yet another was fitted after
    it, or an install before it is missing.

    Examples
    --------
    >>> day = pd.to_datetime(["2020-01-01", "2022-01-01"])
    >>> installs = pd.DataFrame({"position_id": ["P1", "P1"], "installed_on": day})
    >>> removals = pd.DataFrame({"position_id": ["P1"], "found_on": day[1:]})
    >>> pair_events(["P1"], installs, removals)[["install_row", "removal_row"]].values.tolist()
    [[0, 0], [1, -1]]
    """
    logged = [
        *_events(installs, "installed_on", _INSTALL),
        *_events(removals, "found_on", _REMOVAL),
    ]
    logged.sort(key=lambda pair: (pair[0], pair[1].day, pair[1].kind, pair[1].row))
    by_position = {
        name: [event for _, event in group] for name, group in groupby(logged, key=itemgetter(0))
    }
    lives = [
        (name, *life)
        for name in positions
        for life in _walk(_settle_first_day(by_position.get(name, [])))
    ]
    columns = ["position_id", "install_row", "removal_row", "next_installed_on", "inferred"]
    frame = pd.DataFrame(lives, columns=columns)
    return frame.astype({"next_installed_on": "datetime64[ns]"})


def _events(table: pd.DataFrame, day: str, kind: int) -> Iterator[tuple[str, _Event]]:
    for row, (name, when) in enumerate(zip(table["position_id"], table[day], strict=True)):
        yield name, _Event(when, kind, row)


def _settle_first_day(events: list[_Event]) -> list[_Event]:
    """Put an install before a removal of the same day when only that explains both.

    No disc was in to remove, and the position is filled again by another install:
    the disc came out on its first day. Otherwise an earlier install is missing.
    """
    settled: list[_Event] = []
    disc_in = True  # before the first row a disc of unknown age may have been in
    waiting = list(events)
    while waiting:
        event = waiting.pop(0)
        swaps = (
            event.kind == _REMOVAL
            and not disc_in
            and waiting
            and waiting[0].kind == _INSTALL
            and waiting[0].day == event.day
            and len(waiting) > 1
            and waiting[1].kind == _INSTALL
        )
        if swaps:
            settled += [waiting.pop(0), event]
            disc_in = False
            continue
        settled.append(event)
        disc_in = event.kind == _INSTALL
    return settled


def _walk(events: list[_Event]) -> Iterator[tuple[int, int, pd.Timestamp | None, str]]:
    """Yield (install row, removal row, next install's day, what was inferred) per life."""
    if not events:
        yield NO_ROW, NO_ROW, None, "no install and no removal on record: age unknown"
        return
    fitted: int | None = None
    for number, event in enumerate(events):
        if event.kind == _INSTALL:
            if fitted is not None:
                yield fitted, NO_ROW, event.day, "removal missing: ended before the next install"
            fitted = event.row
        elif fitted is not None:
            yield fitted, event.row, None, ""
            fitted = None
        else:
            missing = "in service before the first record" if number == 0 else "install missing"
            yield NO_ROW, event.row, None, f"{missing}: age unknown"
    if fitted is not None:
        yield fitted, NO_ROW, None, ""
