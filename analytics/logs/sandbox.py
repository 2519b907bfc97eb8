"""Open a spreadsheet or a Parquet file without trusting it."""

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from analytics.errors import InputError
from analytics.logs.settings import Settings

__all__ = ["unpacked_text"]

_SCRIPT = Path(__file__).with_name("unpack.py")
_SECONDS = 120


def unpacked_text(path: Path, sheets: Sequence[str], settings: Settings) -> bytes:
    """Read an XLSX or Parquet file as CSV text in a child process with limits.

    Parameters
    ----------
    path : Path
        The file.
    sheets : sequence of str
        Sheet names to look for, the best first.
    settings : Settings
        Decimal mark and date format, in which typed cells are written.

    Returns
    -------
    bytes
        Comma-separated records in UTF-8; the first field is the row number in the source.

    Raises
    ------
    InputError
        If the file is refused, or its reading took too much memory or time.
    """
    command = [
        sys.executable, "-P", str(_SCRIPT), str(path), "\n".join(sheets),
        settings.decimal, settings.date_format or "",
    ]  # fmt: skip
    quiet = {
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "ARROW_DEFAULT_MEMORY_POOL": "system",
    }
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=_SECONDS,
            env={**os.environ, **quiet, "PYTHONWARNINGS": "ignore"},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise InputError(
            f"{path.name} took more than {_SECONDS} s to open; export it as CSV"
        ) from None
    if done.returncode == 3:
        raise InputError(f"{path.name} {done.stderr.decode('utf-8', 'replace').strip()}")
    if done.returncode:
        raise InputError(f"{path.name} broke its reader or needs too much memory; export it as CSV")
    return done.stdout
