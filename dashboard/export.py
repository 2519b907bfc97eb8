"""Tables taken away as files for other programs; texts in them never run as formulas."""

from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from analytics.logs.exporting import export_frame

__all__ = ["SUFFIXES", "file_of"]

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
