"""Write tables so that a spreadsheet shows them and runs none of them."""

import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd

from analytics.errors import InputError
from analytics.logs.formulas import neutralise
from analytics.logs.reading import CheckedLogs
from analytics.logs.settings import FILE_NAME, Settings
from analytics.logs.tables import TABLES, Column
from analytics.units import unit_words

__all__ = ["export_frame", "export_logs", "header_of"]

_UNPRINTABLE = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def export_frame(frame: pd.DataFrame, path: Path) -> None:
    """Write a frame as CSV (UTF-8 with its mark) or XLSX, by the path's ending.

    Parameters
    ----------
    frame : DataFrame
        Any frame; dates become ISO text, missing values blanks, floats keep
        every digit, texts are neutralised.
    path : Path
        Ends in `.csv` or `.xlsx`.

    Raises
    ------
    InputError
        If the ending is another.
    """
    columns = [_cells(frame[name]) for name in frame]
    rows = zip(*columns, strict=True) if columns else iter(())
    header = [neutralise(str(name)) for name in frame]
    match path.suffix.lower():
        case ".csv":
            out = pd.DataFrame(list(rows), columns=header, dtype=object)
            # RFC 4180 line ends: with others, a lone carriage return in a text stays unquoted and
            # begins a new row, in which the rest of the text may run as a formula.
            out.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\r\n")
        case ".xlsx":
            _write_workbook(path, header, rows)
        case other:
            raise InputError(f"an export must end in .csv or .xlsx, got {other!r}")


def export_logs(logs: CheckedLogs, folder: Path, *, suffix: str = ".csv") -> None:
    """Write checked logs as a log folder that reads back equal to the bit.

    Parameters
    ----------
    logs : CheckedLogs
        What was read.
    folder : Path
        Made if missing.
    suffix : str
        `.csv` or `.xlsx`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for name in sorted(logs.present & set(TABLES)):
        table = TABLES[name]
        frame = logs.tables[name][[column.internal_name for column in table.columns]]
        named = frame.set_axis([header_of(column) for column in table.columns], axis=1)
        export_frame(named, folder / f"{name}{suffix}")
    (folder / FILE_NAME).write_text(_settings_text(logs.settings), encoding="utf-8")


def header_of(column: Column) -> str:
    """Name a column as a file does: with its internal unit in square brackets.

    Examples
    --------
    >>> header_of(TABLES["removals"].column("peak_pressure"))
    'peak_pressure [barg]'
    """
    if column.dimension is None:
        return column.name
    word = next(
        word
        for word in unit_words(column.dimension)
        if word.replace(".", "").casefold() == column.dimension.value
    )
    return f"{column.name} [{word}]"


def _cells(values: pd.Series) -> list[object]:
    if pd.api.types.is_datetime64_any_dtype(values):
        midnight = bool((values.dropna() == values.dropna().dt.normalize()).all())
        texts = values.dt.strftime("%Y-%m-%d") if midnight else values.map(_moment)
        return [None if pd.isna(text) else text for text in texts]
    return [_cell(value) for value in values]


def _moment(value: pd.Timestamp) -> str:
    return value.isoformat(sep=" ")


def _cell(value: object) -> object:
    if isinstance(value, str):
        return neutralise(value)
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        return None if np.isnan(value) else float(value)
    if isinstance(value, int | np.integer):
        return int(value)
    return neutralise(str(value))


def _write_workbook(path: Path, header: list[str], rows: Iterable[tuple[Any, ...]]) -> None:
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet(path.stem[:31])
    for row in (header, *rows):
        cells = []
        for value in row:
            shown = _UNPRINTABLE.sub(_escape, value) if isinstance(value, str) else value
            cell = openpyxl.cell.WriteOnlyCell(sheet)
            # A float as its own digits: the writer would round it to sixteen.
            cell.value = repr(value) if isinstance(value, float) else shown
            if isinstance(value, str):
                cell.data_type = "s"  # never a formula, never a guess at a number or date
            elif isinstance(value, float):
                cell.data_type = "n"
            cells.append(cell)
        sheet.append(cells)
    book.save(path)


def _escape(match: re.Match[str]) -> str:
    return f"\\x{ord(match[0]):02x}"


def _settings_text(settings: Settings) -> str:
    """Write what a canonical export still needs to know."""
    lines = [
        f"title = {json.dumps(settings.title)}",
        f"currency = {json.dumps(settings.currency)}",
    ]
    lines += [
        f"{name} = {day.isoformat()}"
        for name, day in (
            ("log_begins", settings.log_begins),
            ("export_date", settings.export_date),
        )
        if day is not None
    ]
    return "\n".join(lines) + "\n"
