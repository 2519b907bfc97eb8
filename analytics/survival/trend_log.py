"""How is a file of events read for `discward trend`?"""

import csv
from pathlib import Path

import numpy as np
import pandas as pd

from analytics.errors import InputError

__all__ = ["read_trend_events"]

COLUMNS = ("time", "system", "end")


def read_trend_events(path: Path) -> pd.DataFrame:
    """Read event times from a CSV file.

    Parameters
    ----------
    path : Path
        A CSV file with a header: `time` for each event, and for several systems `system`;
        `end` may give each system's own end. Other columns are left alone. A blank time
        beside a system's name says that the system had no event. [time]

    Returns
    -------
    DataFrame
        `time` (float), and `system` (text) and `end` (float, NaN if blank) where present.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing or twice there, or a cell is not a
        usable number; names the line.
    """
    header, rows = _rows(path)
    if "time" not in header:
        raise InputError(f"{path.name} needs a column `time`; it has {', '.join(header)}")
    doubled = [name for name in COLUMNS if header.count(name) > 1]
    if doubled:
        raise InputError(f"{path.name} has the column `{doubled[0]}` more than once")
    if not rows:
        raise InputError(f"{path.name} needs at least one row below the header, got none")
    present = [name for name in COLUMNS if name in header]
    blank_allowed = {"time": "system" in header, "system": False, "end": True}
    table: dict[str, list[object]] = {name: [] for name in present}
    for line, cells in rows:
        for name in present:
            place = header.index(name)
            text = cells[place].strip() if place < len(cells) else ""
            if not text and not blank_allowed[name]:
                raise InputError(f"{path.name} line {line}: {name} must not be blank")
            table[name].append(text if name == "system" else _number(text, path, line, name))
    return pd.DataFrame(table)


def _rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Header names and the rows that hold anything, each with its line number."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file, strict=True)
            lines = [(reader.line_num, cells) for cells in reader]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(f"{path} cannot be read as a CSV file: {reason}") from None
    filled = [(line, cells) for line, cells in lines if any(cell.strip() for cell in cells)]
    if not filled:
        raise InputError(f"{path.name} is empty; it needs a header with a column `time`")
    return [cell.strip() for cell in filled[0][1]], filled[1:]


def _number(text: str, path: Path, line: int, name: str) -> float:
    if not text:
        return float("nan")
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not (np.isfinite(value) and value > 0):
        raise InputError(f"{path.name} line {line}: {name} must be a number > 0, got {text[:40]!r}")
    return value
