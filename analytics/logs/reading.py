"""Read a whole log folder: what can be used, what is held back, what we ask."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from analytics.errors import InputError
from analytics.logs.checking import (
    QUARANTINE_COLUMNS,
    CheckedTable,
    accepted,
    check_table,
    header_problems,
    quarantine,
)
from analytics.logs.columns import empty_frame
from analytics.logs.cross_checks import ask, keep_out_unknown, rename_positions
from analytics.logs.files import SUFFIXES, read_file
from analytics.logs.headers import count_known
from analytics.logs.mending import mends_of, with_mends
from analytics.logs.recorded import Taken, less_taken, taken_of, version_of, with_records
from analytics.logs.records import RawTable
from analytics.logs.settings import Settings, read_settings, settings_of
from analytics.logs.tables import TABLES, Table
from analytics.logs.unit_doubts import doubt_units

__all__ = ["CheckedLogs", "Progress", "check_tables", "files_of", "read_logs", "read_raw_tables"]

Progress = Callable[[str, float], None]
"""Told what is being done and which share of the whole is behind. [-]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedLogs:
    """A log folder after reading and checking.

    Attributes
    ----------
    tables : dict of str to DataFrame
        Accepted rows of every declared table, typed; absent tables are empty.
        Columns by `Column.internal_name`, then `source_file`, `source_line`.
    rows : DataFrame
        `table read accepted quarantined`; read is the sum of the other two.
    quarantine : DataFrame
        `table file line column value reason required mend raw`; a row with
        two bad cells stands twice.
    notes : tuple of str
        Questions and assumptions, one sentence each.
    settings : Settings
        What `logs.toml` declares.
    present : frozenset of str
        Tables of which a file was found; `pressure` if there is a historian.
    """

    tables: dict[str, pd.DataFrame]
    rows: pd.DataFrame
    quarantine: pd.DataFrame
    notes: tuple[str, ...]
    settings: Settings
    present: frozenset[str]


def read_logs(folder: Path, *, progress: Progress | None = None) -> CheckedLogs:
    """Read and check a log folder.

    Parameters
    ----------
    folder : Path
        One file or several per table, named after it (`installs.csv`,
        `installs_2021.xlsx`), and an optional `logs.toml`.
    progress : callable, optional
        Called with a sentence and the share done.

    Returns
    -------
    CheckedLogs
        Accepted and quarantined rows together are the rows read.

    Raises
    ------
    InputError
        If the folder, a required table, a required column or a unit is
        missing, or a file cannot be opened; everything in one line.
    """
    settings, moved = with_records(read_settings(existing_folder(folder)), folder)
    raws = read_raw_tables(folder, settings, progress=progress)
    checked = check_tables(raws, settings, progress=progress)
    history = {"pressure"} if _has_history(folder) else set()
    taken = taken_of(folder, version_of(files_of(TABLES["stock"], folder, settings)))
    stock = less_taken(checked.tables["stock"], taken)
    return replace(
        checked,
        tables=checked.tables | {"stock": stock},
        notes=(*_left_aside(folder, raws), *moved, *_used(taken), *checked.notes),
        present=checked.present | history,
    )


def _used(taken: Sequence[Taken]) -> tuple[str, ...]:
    if not taken:
        return ()
    return (
        f"pieces taken by installs recorded here since the stock was counted: {len(taken)}; they"
        " are taken off the stock",
    )


def existing_folder(folder: Path) -> Path:
    """Give the folder back; InputError if there is none."""
    if not folder.is_dir():
        raise InputError(f"no log folder at {folder}; give the folder that holds installs.csv")
    return folder


def files_of(table: Table, folder: Path, settings: Settings) -> list[Path]:
    """List the files that hold a table: by declared source, or by their stem."""
    named = [folder / name.partition("#")[0] for name in settings.sources.get(table.name, ())]
    absent = [path.name for path in named if not path.is_file()]
    if absent:
        raise InputError(f"logs.toml names files that are not there: {', '.join(absent)}")
    claimed = {name.partition("#")[0] for names in settings.sources.values() for name in names}
    by_stem = [
        path
        for path in sorted(folder.iterdir())
        if path.is_file()
        and path.suffix.lower() in SUFFIXES
        and path.name not in claimed
        and (path.stem.casefold() + "_").startswith(table.name + "_")
    ]
    return [*named, *by_stem]


def read_raw_tables(
    folder: Path,
    settings: Settings,
    *,
    only: Collection[str] = tuple(TABLES),
    progress: Progress | None = None,
) -> dict[str, list[RawTable]]:
    """Read every file of every table as text, or of some tables only; mends are put in place.

    Raises
    ------
    InputError
        If a required table has no file, or files cannot be opened; all of them named.
    """
    files = {name: files_of(TABLES[name], folder, settings) for name in only}
    absent = [name for name in only if TABLES[name].required and not files[name]]
    problems = []
    if absent:
        problems.append(
            f"tables missing in {folder}: {', '.join(absent)}; each needs a file of its name, "
            f"ending in {' '.join(SUFFIXES)}"
        )
    raws: dict[str, list[RawTable]] = {}
    done, total = 0, sum(map(len, files.values()))
    for name, paths in files.items():
        for path in paths:
            _tell(progress, f"reading {path.name}", 0.5 * done / total)
            done += 1
            try:
                raws.setdefault(name, []).append(
                    _read(path, TABLES[name], settings_of(settings, name, path.name))
                )
            except InputError as error:
                problems.append(str(error))
    if problems:
        # Headers too, so that one run names everything there is to mend.
        for name, parts in raws.items():
            problems += header_problems(TABLES[name], parts, settings)
        raise InputError(_all_at_once(problems))
    return with_mends(raws, mends_of(folder))


def _all_at_once(problems: Sequence[str]) -> str:
    line = "; ".join(problems)
    if "missing" in line:
        line += "; `discward check LOGS --propose` drafts a logs.toml for files with other names"
    return line


def _read(path: Path, table: Table, settings: Settings) -> RawTable:
    sheets = [
        name.partition("#")[2]
        for name in settings.sources.get(table.name, ())
        if name.startswith(f"{path.name}#")
    ]
    return read_file(
        path,
        settings,
        sheets=[*sheets, table.name],
        known=lambda cells: count_known(cells, table, settings),
    )


def check_tables(
    raws: dict[str, list[RawTable]], settings: Settings, *, progress: Progress | None = None
) -> CheckedLogs:
    """Check rows of text, wherever they come from.

    Parameters
    ----------
    raws : dict of str to list of RawTable
        The files of each table found.
    settings : Settings
        How this plant writes.
    progress : callable, optional
        Called with a sentence and the share done.

    Returns
    -------
    CheckedLogs
        As `read_logs`.

    Raises
    ------
    InputError
        If a required column or a unit is missing in any table; everything in one line.
    """
    last_day = settings.export_date or date.today()
    checked: dict[str, CheckedTable] = {}
    problems = []
    for done, (name, parts) in enumerate(raws.items()):
        _tell(progress, f"checking {name}", 0.5 + 0.4 * done / len(raws))
        try:
            table = check_table(TABLES[name], parts, settings, last_day=last_day)
        except InputError as error:
            problems.append(str(error))
            continue
        checked[name] = rename_positions(table, settings.renamed)
    if problems:
        raise InputError(_all_at_once(problems))
    _tell(progress, "comparing the tables", 0.9)
    if {"positions", "discs"} <= set(checked):
        checked = keep_out_unknown(checked)
    logs = _join(checked, settings)
    _tell(progress, "logs checked", 1.0)
    return logs


def _join(checked: dict[str, CheckedTable], settings: Settings) -> CheckedLogs:
    tables = {
        name: _renumbered(accepted(checked[name])) if name in checked else empty_frame(table)
        for name, table in TABLES.items()
    }
    rows = pd.DataFrame(
        [
            (name, table.read, len(tables[name]), table.read - len(tables[name]))
            for name, table in checked.items()
        ],
        columns=["table", "read", "accepted", "quarantined"],
    )
    held = [quarantine(table) for table in checked.values()]
    held = [part for part in held if len(part)]
    listed = (
        pd.concat(held, ignore_index=True)
        if held
        else pd.DataFrame({name: [] for name in QUARANTINE_COLUMNS}, dtype=object)
    )
    notes = [note for table in checked.values() for note in table.notes]
    return CheckedLogs(
        tables=tables,
        rows=rows,
        quarantine=listed,
        notes=(*notes, *ask(tables, log_begins=settings.log_begins), *doubt_units(tables)),
        settings=settings,
        present=frozenset(checked),
    )


def _left_aside(folder: Path, raws: dict[str, list[RawTable]]) -> list[str]:
    """Name the data files whose name is that of no table."""
    read = {raw.file for parts in raws.values() for raw in parts}
    left = sorted(
        path.name
        for path in folder.iterdir()
        if path.is_file()
        and path.suffix.lower() in (*SUFFIXES, ".xls", ".xlsm", ".ods")
        and path.name not in read
    )
    if not left:
        return []
    return [
        f"not read, since their names are those of no table: {', '.join(left)}; "
        "rename them or declare them under [sources] in logs.toml"
    ]


def _renumbered(frame: pd.DataFrame) -> pd.DataFrame:
    """Number the rows 0..n-1 without copying a million of them."""
    shallow = frame.copy(deep=False)
    shallow.index = pd.RangeIndex(len(frame))
    return shallow


def _has_history(folder: Path) -> bool:
    history = folder / "pressure"
    return history.is_dir() and any(
        path.suffix.lower() in (".parquet", ".csv") for path in history.rglob("*")
    )


def _tell(progress: Progress | None, what: str, share: float) -> None:
    if progress is not None:
        progress(what, share)
