"""The folder that brought files are put in: which names it takes, what its rows came to."""

import io
import re
import secrets
import shutil
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

import pandas as pd
from werkzeug.datastructures import FileStorage

from analytics.errors import DiscwardError, InputError
from analytics.logs.files import SUFFIXES
from analytics.logs.proposing import propose
from analytics.logs.reading import read_logs
from analytics.logs.settings import FILE_NAME
from analytics.logs.templates import write_templates
from dashboard.jobs.aside import aside

__all__ = ["Checked", "check", "keep", "mapping_of", "named", "save_mapping", "templates"]

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_. -]{0,79}")
_NUMBER = re.compile(r"[0-9]{8}-[0-9a-f]{6}")
_MOST_FILES = 60
_LONGEST_MAPPING = 100_000
_MANY_BYTES = 4_000_000

_Result = TypeVar("_Result")


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What reading a brought folder came to.

    Attributes
    ----------
    rows : DataFrame or None
        `table read accepted quarantined`; None when the folder cannot be read.
    quarantine : DataFrame or None
        Rows set aside, with what would mend them.
    problem : str
        Why the folder cannot be read, blank when it can.
    """

    rows: pd.DataFrame | None
    quarantine: pd.DataFrame | None
    problem: str


def keep(place: Path, files: Iterable[FileStorage]) -> str:
    """Put files into a new folder and give its number.

    Raises
    ------
    InputError
        If a file's name is not one of a log file, or there are none or too many.
    """
    given = [file for file in files if file.filename]
    if not 0 < len(given) <= _MOST_FILES:
        raise InputError(f"bring 1 to {_MOST_FILES} files, got {len(given)}")
    names = [_safe(str(file.filename)) for file in given]
    if len(set(names)) < len(names):
        raise InputError("two files have the same name; rename one")
    number = f"{datetime.now(UTC):%Y%m%d}-{secrets.token_hex(3)}"
    folder = place / number
    folder.mkdir(parents=True)
    try:
        for file, name in zip(given, names, strict=True):
            file.save(folder / name)
    except OSError as error:
        shutil.rmtree(folder, ignore_errors=True)
        raise InputError(f"the files could not be kept: {error.strerror}") from error
    return number


def named(place: Path, number: str) -> Path | None:
    """Give the folder of a number; None when there is none."""
    folder = place / number
    return folder if _NUMBER.fullmatch(number) and folder.is_dir() else None


def mapping_of(folder: Path) -> str:
    """Give the folder's mapping, or the one proposed from what its files show.

    Many rows are looked at by a process of their own, as `check` reads them.
    """
    path = folder / FILE_NAME
    if path.exists():
        return path.read_text(encoding="utf-8", errors="replace")
    try:
        return _apart(propose, folder)
    except DiscwardError as error:
        return f"# no mapping could be proposed: {error}\n"


def save_mapping(folder: Path, text: str) -> None:
    """Keep a mapping as the folder's.

    Raises
    ------
    InputError
        If the text is longer than a mapping can be.
    """
    if len(text) > _LONGEST_MAPPING:
        raise InputError(f"a mapping must hold at most {_LONGEST_MAPPING:,} characters")
    (folder / FILE_NAME).write_text(text.replace("\r\n", "\n"), encoding="utf-8")


def check(folder: Path) -> Checked:
    """Read the folder as the job would, and say what its rows came to.

    Many rows are read by a process of their own, so that other readers need not wait.
    """
    try:
        rows, quarantine = _apart(_counted, folder)
    except DiscwardError as error:
        return Checked(rows=None, quarantine=None, problem=str(error))
    return Checked(rows=rows, quarantine=quarantine, problem="")


def _apart(work: Callable[[Path], _Result], folder: Path) -> _Result:
    """Read a folder of many rows in a process of its own, whose memory ends with it.

    Parsing a million rows in this process left it 0.3 GB larger for good.
    """
    size = sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    return aside(work, folder) if size > _MANY_BYTES else work(folder)


def _counted(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    logs = read_logs(folder)
    return logs.rows, logs.quarantine


def templates() -> bytes:
    """Give the empty log files, an example and the guide, as one ZIP."""
    packed = io.BytesIO()
    with TemporaryDirectory(prefix="discward-") as place:
        folder = Path(place)
        write_templates(folder)
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(folder.rglob("*")):
                if path.is_file():
                    archive.write(path, path.relative_to(folder).as_posix())
    return packed.getvalue()


def _safe(name: str) -> str:
    suffix = Path(name).suffix.lower()
    if not _NAME.fullmatch(name) or (suffix not in SUFFIXES and name != FILE_NAME):
        raise InputError(
            f"a log file's name holds letters, digits, _, - and ., and ends in"
            f" {' '.join(SUFFIXES)} (or is {FILE_NAME}), got {name[:80]!r}"
        )
    return name
