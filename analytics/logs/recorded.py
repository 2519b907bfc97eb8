"""What was recorded here beside the plant's own files: how far it reaches, what it took."""

import csv
import hashlib
import json
import threading
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.logs.settings import RECORDED, Settings

__all__ = ["TAKEN", "Taken", "keep_taken", "less_taken", "taken_of", "version_of", "with_records"]

TAKEN = Path("recorded") / "taken.jsonl"
_DAYS = {"installs": "installed_on", "removals": "found_on"}
_LOCK = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A piece that an install took out of a store.

    Attributes
    ----------
    install_id : str
        The install that used it.
    store, disc_code, lot : str
        Which piece; lot blank when the stock table gives none.
    counted : str
        Version of the stock files it was taken from. New stock files are a new count,
        in which the piece is missing already.
    """

    install_id: str
    store: str
    disc_code: str
    lot: str
    counted: str


def with_records(settings: Settings, folder: Path) -> tuple[Settings, tuple[str, ...]]:
    """Move the export date up to the newest day recorded here, and say so.

    A disc fitted yesterday belongs in the logs, so they must reach to yesterday for
    every position: counting the new events without the time that the other discs
    survived would make every rate too high.

    Returns
    -------
    settings : Settings
        With the later export date.
    notes : tuple of str
        What is assumed by it; empty when nothing moved.
    """
    newest = max(_days(folder), default=None)
    if settings.export_date is None or newest is None or newest <= settings.export_date:
        return settings, ()
    note = (
        f"logs.toml ends the logs on {settings.export_date}; records signed here reach to {newest},"
        " so the logs do too: every position without a record since is taken as unchanged."
        " Export the logs anew when other crews worked meanwhile"
    )
    return replace(settings, export_date=newest), (note,)


def version_of(files: Sequence[Path]) -> str:
    """Name what the stock files hold."""
    found = hashlib.sha256()
    for path in sorted(files):
        found.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()


def taken_of(folder: Path, counted: str) -> list[Taken]:
    """List the pieces taken since the stock was counted as it stands in the files."""
    path = folder / TAKEN
    lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    return [taken for line in lines if (taken := _read(line)) and taken.counted == counted]


def keep_taken(folder: Path, taken: Taken) -> None:
    """Note that a piece was taken."""
    path = folder / TAKEN
    with _LOCK:
        path.parent.mkdir(exist_ok=True)
        with path.open("a", encoding="utf-8") as notes:
            notes.write(json.dumps(asdict(taken), ensure_ascii=False) + "\n")


def less_taken(stock: pd.DataFrame, taken: Iterable[Taken]) -> pd.DataFrame:
    """Count the stock without the pieces taken since; the frame itself is not changed.

    Parameters
    ----------
    stock : DataFrame
        Checked rows of the stock table.
    taken : iterable of Taken
        One piece each; a piece that no row holds any more takes nothing.
    """
    taken = list(taken)
    if not taken or stock.empty:
        return stock
    quantity = stock["quantity"].to_numpy(dtype=float, na_value=np.nan).copy()
    names = [stock[name].fillna("").astype(str).to_numpy() for name in _KEYS]
    for piece in taken:
        wanted = (piece.store, piece.disc_code, piece.lot)
        same = np.logical_and.reduce([n == w for n, w in zip(names, wanted, strict=True)])
        held = np.flatnonzero(same & (quantity > 0))
        if held.size:
            quantity[held[0]] -= 1
    return stock.assign(quantity=pd.array(quantity, dtype="Int64"))


_KEYS = ("store", "disc_code", "lot")


def _read(line: str) -> Taken | None:
    try:
        return Taken(**json.loads(line))
    except (ValueError, TypeError):
        return None


def _days(folder: Path) -> list[date]:
    days: list[date] = []
    for table, column in _DAYS.items():
        path = folder / f"{table}{RECORDED}.csv"
        if path.is_file():
            with path.open(encoding="utf-8-sig", newline="") as rows:
                texts = [row.get(column) or "" for row in csv.DictReader(rows)]
            days += [day for text in texts if (day := _day(text)) is not None]
    return days


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
