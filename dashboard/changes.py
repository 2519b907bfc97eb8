"""What was changed through this dashboard: who, when, what, and on which data and model."""

import json
import threading
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from enum import Enum
from pathlib import Path

import pandas as pd

from analytics.findings import Findings

__all__ = ["COLUMNS", "About", "Kind", "author", "changes_file", "changes_of", "note_change"]

COLUMNS = {
    "at": "When (UTC)",
    "by": "By",
    "account": "Account",
    "kind": "Kind",
    "what": "What",
    "data_version": "Data version",
    "model_version": "Model version",
}
"""Columns of the list of changes with their headings."""

_LOCK = threading.Lock()


class Kind(Enum):
    """What sort of change it was."""

    RECORD = "record"
    CORRECTION = "correction"
    IMPORT = "import"
    SETTING = "setting"
    RECOMMENDATION = "accepted recommendation"
    PEOPLE = "people"


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """Who changed something, and what they had before them.

    Attributes
    ----------
    by : str
        Who, as they call themselves.
    account : str
        The session's person; blank when the dashboard stands open.
    data_version, model_version : str
        Of the findings on show; blank where none were.
    """

    by: str
    account: str = ""
    data_version: str = ""
    model_version: str = ""


def author(findings: Findings, by: str, *, account: str = "") -> About:
    """Say who changes something while looking at these findings."""
    return About(
        by=by,
        account=account,
        data_version=findings.data_version,
        model_version=findings.model_version,
    )


def changes_file(logs: Path) -> Path:
    """Name the list of changes of a log folder or a store file."""
    name = "changes.jsonl"
    return logs / "recorded" / name if logs.is_dir() else logs.with_name(f"{logs.name}.{name}")


def note_change(file: Path, kind: Kind, what: str, who: About) -> None:
    """Add a line to the list of changes; no line is ever changed or taken out."""
    at = datetime.now(UTC).isoformat(timespec="seconds")
    line = json.dumps({"at": at, "kind": kind.value, "what": what, **asdict(who)})
    with _LOCK:
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("a", encoding="utf-8") as changes:
            changes.write(line + "\n")


def changes_of(file: Path) -> pd.DataFrame:
    """List the changes, newest first; a line cut short by a crash is left out."""
    lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    read = [_read(line) for line in lines]
    rows = [{key: str(entry.get(key, "")) for key in COLUMNS} for entry in read if entry]
    return pd.DataFrame(rows[::-1], columns=list(COLUMNS), dtype=object)


def _read(line: str) -> dict[str, object] | None:
    try:
        entry = json.loads(line)
    except json.JSONDecodeError:
        return None
    return entry if isinstance(entry, dict) else None
