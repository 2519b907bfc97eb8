"""Which files have been tallied before? Kept by content, so a renamed file is known too."""

import hashlib
import json
import os
import zipfile
from dataclasses import asdict
from pathlib import Path

import numpy as np

from analytics.duty.ledger import WIDTH, Ledger
from analytics.duty.tally import HistoryTally, Note

__all__ = ["keep", "kept_tally"]

_LAYOUT = 2
"""Raised whenever a column changes its meaning; older kept tallies are then read anew."""


def kept_tally(
    folder: Path, path: Path, gap_ms: int, flat_ms: int, zone: str | None
) -> tuple[str, HistoryTally | None]:
    """Give the digest of a file and its kept tally, None when there is none to use.

    One made with other limits or another time zone is not used. The name in the notes is
    the file's present one.
    """
    with open(path, "rb") as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    try:
        with open(folder / f"{digest}.npz", "rb") as stream:
            kept = np.load(stream, allow_pickle=False)
            about = json.loads(str(kept["about"]))
            ledger = Ledger(*(kept[name] for name in Ledger._fields))
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return digest, None  # never kept, or torn while being kept
    if about["layout"] != [_LAYOUT, WIDTH] or about["limits"] != [gap_ms, flat_ms, zone]:
        return digest, None
    notes = tuple(Note(**{**note, "file": path.name}) for note in about["notes"])
    return digest, HistoryTally(
        positions=tuple(about["positions"]),
        ledger=ledger,
        gap_ms=gap_ms,
        flat_ms=flat_ms,
        notes=notes,
    )


def keep(folder: Path, digest: str, tally: HistoryTally, zone: str | None) -> None:
    """Keep a file's tally; it appears whole or not at all."""
    folder.mkdir(parents=True, exist_ok=True)
    about = json.dumps(
        {
            "layout": [_LAYOUT, WIDTH],
            "limits": [tally.gap_ms, tally.flat_ms, zone],
            "positions": tally.positions,
            "notes": [asdict(note) for note in tally.notes],
        }
    )
    unfinished = folder / f".{digest}.{os.getpid()}"
    with open(unfinished, "wb") as stream:
        np.savez(stream, about=np.array(about), **tally.ledger._asdict())
    unfinished.replace(folder / f"{digest}.npz")
