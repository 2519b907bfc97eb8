"""Where records are kept: drafts apart, signed ones in the log folder's own tables."""

import json
import os
import re
import secrets
import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from analytics.errors import InputError
from analytics.logs.exporting import export_frame
from analytics.logs.formulas import restore
from analytics.logs.recorded import Taken, keep_taken
from dashboard.changes import About, Kind, changes_file, note_change
from dashboard.recording.asking import Plant
from dashboard.recording.forms import Form, problems_of, row_of
from dashboard.recording.taking import ELSEWHERE, Piece, piece_for, piece_problem

__all__ = ["Keeper", "draft", "drafts", "new_id", "save_draft", "sign", "signed"]

_NAME = re.compile(r"[A-Za-z0-9-]{1,40}")
_LOCK = threading.Lock()
"""One writer at a time in this process; files are replaced whole, never half written."""
_MOST_DRAFTS = 500


@dataclass(frozen=True, slots=True)
class Keeper:
    """The log folder that records go to.

    Attributes
    ----------
    folder : Path
        A log folder. Drafts, signed sheets and the list of changes lie in its
        subfolder `recorded`; signed rows in `installs_recorded.csv` and
        `removals_recorded.csv`, which the next reading takes with the rest.
    """

    folder: Path

    @property
    def aside(self) -> Path:
        """The subfolder for what is no log table."""
        return self.folder / "recorded"


def new_id(form: Form) -> str:
    """Give a record a number of its own."""
    stamp = datetime.now(UTC).strftime("%Y%m%d")
    return f"{form.name[0]}-{stamp}-{secrets.token_hex(3)}"


def save_draft(keeper: Keeper, form: Form, name: str, entries: Mapping[str, Any]) -> None:
    """Keep a draft, replacing an earlier state of it.

    Raises
    ------
    InputError
        If there are too many drafts already.
    """
    kept = _drafts_folder(keeper)
    if not (kept / _file(name)).exists() and len(list(kept.glob("*.json"))) >= _MOST_DRAFTS:
        raise InputError(f"there are {_MOST_DRAFTS} drafts already; sign or delete some first")
    with _LOCK:
        _replace(kept / _file(name), json.dumps({"form": form.value, "entries": dict(entries)}))


def draft(keeper: Keeper, name: str) -> tuple[Form, dict[str, Any]] | None:
    """Give a draft back, or None when there is none of that number."""
    if not _NAME.fullmatch(name):
        return None
    path = _drafts_folder(keeper) / _file(name)
    if not path.exists():
        return None
    kept = json.loads(path.read_text(encoding="utf-8"))
    return Form(kept["form"]), kept["entries"]


def drafts(keeper: Keeper) -> list[str]:
    """List the drafts' numbers, newest first."""
    return sorted((path.stem for path in _drafts_folder(keeper).glob("*.json")), reverse=True)


def sign(
    keeper: Keeper,
    form: Form,
    name: str,
    entries: Mapping[str, Any],
    *,
    who: About | None = None,
    plant: Plant | None = None,
) -> None:
    """Sign a record off: its row enters the log table, its draft goes, the change is noted.

    An install takes its piece off the stock of `plant`.

    `who` is the session and the findings on show, beside the name that was signed with.

    Raises
    ------
    InputError
        If anything still keeps it from being signed, or the number is signed already.
    """
    key = f"{form.value.removesuffix('s')}_id"
    filled = {**entries, key: name}
    problems = problems_of(form, filled)
    if problems:
        raise InputError("; ".join(problem.mend for problem in problems))
    with _LOCK:
        rows = signed(keeper, form)
        if len(rows) and (rows[key] == name).any():
            raise InputError(f"record {name} is signed already")
        piece = _piece(plant, form, entries)
        whole = pd.concat([rows, pd.DataFrame([row_of(form, filled)])], ignore_index=True)
        path = _table(keeper, form)
        sheets = keeper.aside / "signed"
        sheets.mkdir(parents=True, exist_ok=True)
        partial = keeper.aside / "unfinished.csv"
        export_frame(whole, partial)
        os.replace(partial, path)
        if plant and piece:
            taken = Taken(
                install_id=name,
                store=piece.store,
                disc_code=piece.disc_code,
                lot=piece.lot,
                counted=plant.stock_version(),
            )
            keep_taken(keeper.folder, taken)
        _replace(sheets / _file(name), json.dumps({"form": form.value, "entries": filled}))
        signer = replace(who or About(by=""), by=str(entries["signed_by"]))
        what = f"signed {form.value} record {name}"
        what += f", which takes one {piece.disc_code} of {piece.store}" if piece else ""
        note_change(changes_file(keeper.folder), Kind.RECORD, what, signer)
        (_drafts_folder(keeper) / _file(name)).unlink(missing_ok=True)


def _piece(plant: Plant | None, form: Form, entries: Mapping[str, Any]) -> Piece | None:
    """Give the piece an install takes, counted now: two crews cannot take the last one."""
    if plant is None or form is not Form.INSTALL:
        return None
    pieces = plant.pieces()
    if problem := piece_problem(entries, pieces):
        raise InputError(problem)
    return None if entries.get("piece") == ELSEWHERE else piece_for(entries, pieces)


def signed(keeper: Keeper, form: Form) -> pd.DataFrame:
    """Give the rows signed so far, as text."""
    path = _table(keeper, form)
    if not path.exists():
        return pd.DataFrame()
    rows = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    return rows.map(restore)


def _drafts_folder(keeper: Keeper) -> Path:
    folder = keeper.aside / "drafts"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _table(keeper: Keeper, form: Form) -> Path:
    return keeper.folder / f"{form.value}_recorded.csv"


def _file(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise InputError(f"a record's number holds letters, digits and dashes, got {name!r}")
    return f"{name}.json"


def _replace(path: Path, text: str) -> None:
    partial = path.with_suffix(".partial")
    partial.write_text(text, encoding="utf-8")
    os.replace(partial, path)
