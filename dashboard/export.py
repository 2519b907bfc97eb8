"""Tables taken away as files for other programs; texts in them never run as formulas."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from analytics.findings import Findings
from analytics.logs.exporting import export_frame
from dashboard.reading import Units
from dashboard.table_list import TABLES
from dashboard.tables import shown

__all__ = ["SUFFIXES", "file_of", "write_tables"]

SUFFIXES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""The kinds of file a table can be taken away as, with their content types."""


def file_of(frame: pd.DataFrame, suffix: str) -> bytes:
    """Give a frame as the bytes of a file.

    Parameters
    ----------
    frame : DataFrame
        Columns named uniquely; numbers stay numbers, days become ISO text.
    suffix : str
        `csv` or `xlsx`.
    """
    with TemporaryDirectory(prefix="discward-") as folder:
        path = Path(folder) / f"table.{suffix}"
        export_frame(frame, path)
        return path.read_bytes()


def write_tables(findings: Findings, folder: Path) -> list[Path]:
    """Write every table that has rows as CSV and give the paths."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for key, table in TABLES.items():
        rows = table.rows(findings)
        if len(rows):
            path = folder / f"{key}.csv"
            export_frame(shown(table, rows, Units(), findings.currency), path)
            written.append(path)
    return written
