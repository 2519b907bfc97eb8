"""Draft a `logs.toml` from what the files show, for a person to confirm.

What the values prove, and names that are usual words for ours, stand open for a
person to check. What the files leave undecided (which of two date orders, gauge
or absolute, a word that is only alike) is commented out behind `# ?`.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from analytics.errors import InputError
from analytics.logs.dates import day_parser
from analytics.logs.evidence import Verdict, blanks_in, date_format_of, marks_of
from analytics.logs.files import SUFFIXES, read_file
from analytics.logs.headers import bare_name, ours, unit_in
from analytics.logs.likeness import best_table, match_columns, suggest_word
from analytics.logs.reading import existing_folder
from analytics.logs.records import RawTable
from analytics.logs.settings import FILE_NAME, Settings
from analytics.logs.tables import TABLES, Column, Kind, Table
from analytics.logs.values import value_parser
from analytics.units import Dimension, unit_words

__all__ = ["propose"]

_MOST_WORDS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class _File:
    """One file, the table it seems to hold, and its columns by our names."""

    raw: RawTable
    table: Table
    columns: dict[str, str]

    def texts(self, *kinds: Kind) -> list[str]:
        """List the distinct texts of all columns of some kinds."""
        names = [name for name, ours_ in self.columns.items() if self.column(ours_).kind in kinds]
        return [text for name in names for text in self.texts_of(name)]

    def texts_of(self, written: str) -> list[str]:
        place = self.raw.header.index(written)
        texts: list[str] = self.raw.columns[place].unique().to_pylist()
        return texts

    def column(self, name: str) -> Column:
        return self.table.column(name)


def propose(folder: Path) -> str:
    """Draft the `logs.toml` of a folder.

    Parameters
    ----------
    folder : Path
        A log folder, under whatever names the plant gave its files and columns.

    Returns
    -------
    str
        Text of a valid `logs.toml`; save it, settle the lines behind `# ?`.

    Raises
    ------
    InputError
        If there is no folder, or no file in it that can be read.
    """
    files, remarks = _read_all(existing_folder(folder))
    if not files:
        raise InputError(
            f"no log file that can be read in {folder}"
            + "".join(f"; {remark}" for remark in remarks)
        )
    lines = [
        f"# A draft of {FILE_NAME} from what the files show. Check every line.",
        "# Lines behind `# ?` could not be settled from the files: choose, then take `# ? ` off.",
        *(f"# {remark}" for remark in remarks),
        "",
        '# ? title = ""',
        '# ? currency = "EUR"',
        *_days(files),
        *_formats(files),
        *_blanks(files),
    ]
    for section in (_sources, _columns, _units, _words):
        lines += section(files)
    return "\n".join(lines) + "\n"


def _read_all(folder: Path) -> tuple[list[_File], list[str]]:
    files: list[_File] = []
    remarks: list[str] = []
    for path in sorted(folder.iterdir()):
        if not path.is_file() or path.suffix.lower() not in SUFFIXES:
            continue
        try:
            raw = read_file(path, Settings(), sheets=list(TABLES), known=_known_anywhere)
        except InputError as error:
            remarks.append(" ".join(str(error).split()))
            continue
        table = best_table(path.stem, raw.header)
        if table is None:
            remarks.append(f"{_plain(path.name)} looks like none of the tables and is left out")
            continue
        columns = match_columns(raw.header, table)
        files.append(_File(raw=raw, table=table, columns=columns))
        remarks += [" ".join(note.split()) for note in raw.notes]
    return files, remarks


def _known_anywhere(cells: Sequence[str]) -> int:
    return max(len(match_columns(cells, table)) for table in TABLES.values())


def _days(files: Iterable[_File]) -> list[str]:
    """Propose the last day from the dates that can be read."""
    found = []
    for file in files:
        known = date_format_of(file.texts(Kind.DATE))
        form = known.answers[0] if known.proven else ""
        read = day_parser(Settings(date_format=form or None))
        found += [
            str(read(text.strip()))
            for name, our in file.columns.items()
            if file.column(our).past
            for text in file.texts_of(name)
        ]
    days = sorted(day for day in found if "1950" <= day <= date.today().isoformat())
    last = days[-1] if days else "2024-06-30"
    return [
        "# ? log_begins = 2015-01-01  # first day on which every removal was recorded",
        f"# ? export_date = {last}  # last day these logs speak of"
        + ("; the latest date found" if days else ""),
    ]


def _formats(files: Sequence[_File]) -> list[str]:
    """Propose date format and marks: once when all tables agree, else per table."""
    verdicts = {
        file.raw.file: (
            file,
            date_format_of(file.texts(Kind.DATE)),
            marks_of(file.texts(Kind.NUMBER, Kind.COUNT)),
        )
        for file in files
    }
    lines: list[str] = []
    for file, days, marks in verdicts.values():
        own = [*_date_lines(days), *_mark_lines(marks)]
        if own:
            settled = any(not line.startswith("#") for line in own)
            head = f"formats.{file.table.name}"
            # Dotted keys stay above every [section]; one table may come in several files.
            lines += [f"# {_plain(file.raw.file)}"]
            lines += [
                line.replace("# ? ", f"# ? {head}.", 1)
                if line.startswith("#")
                else f"{head}.{line}"
                for line in own
            ]
            lines += [] if settled else [""]
    return _first_of_each_key(lines)


def _date_lines(days: Verdict) -> list[str]:
    if days.proven:
        return [f"date_format = {_quote(days.answers[0])}  # {days.why}"] if days.answers[0] else []
    return [f"# ? date_format = {_quote(answer)}  # {_plain(days.why)}" for answer in days.answers]


def _mark_lines(marks: Verdict) -> list[str]:
    if marks.proven:
        decimal, thousands = marks.answers[0][0], marks.answers[0][1:]
        lines = [f'decimal = "{decimal}"  # {_plain(marks.why)}'] if decimal != "." else []
        return lines + ([f'thousands = "{thousands}"'] if thousands else [])
    keys = ("thousands" if len(answer) > 1 else "decimal" for answer in marks.answers)
    return [
        f'# ? {key} = "{answer[-1]}"  # {_plain(marks.why)}'
        for key, answer in zip(keys, marks.answers, strict=True)
    ]


def _first_of_each_key(lines: Sequence[str]) -> list[str]:
    """Keep one open line per key; a second file that differs becomes a question."""
    seen: set[str] = set()
    result = []
    for line in lines:
        key = line.partition(" = ")[0]
        open_line = " = " in line and not line.startswith("#")
        result.append(f"# ? {line}" if open_line and key in seen else line)
        seen |= {key} if open_line else set()
    return result


def _blanks(files: Iterable[_File]) -> list[str]:
    kinds = (Kind.DATE, Kind.NUMBER, Kind.COUNT, Kind.YES_NO, Kind.TEXT)
    found = sorted({blank for file in files for blank in blanks_in(file.texts(*kinds))})
    if not found:
        return []
    texts = ", ".join(map(_quote, found))
    return [f"# ? blank = [{texts}]  # texts that seem to mean: not recorded"]


def _sources(files: Iterable[_File]) -> list[str]:
    named: dict[str, list[str]] = {}
    for file in files:
        stem = Path(file.raw.file).stem.casefold() + "_"
        if not stem.startswith(file.table.name + "_"):
            named.setdefault(file.table.name, []).append(file.raw.file)
    lines = [f"{name} = [{', '.join(map(_quote, found))}]" for name, found in named.items()]
    return ["", "[sources]", *lines] if lines else []


def _columns(files: Iterable[_File]) -> list[str]:
    maps: dict[str, dict[str, str]] = {}
    for file in files:
        for written, our in file.columns.items():
            if ours(written, file.table, Settings())[0] != our:
                maps.setdefault(file.table.name, {})[bare_name(written) or written] = our
                if written.strip() != bare_name(written):
                    maps[file.table.name][written.strip()] = our
    lines = []
    for name, mapping in maps.items():
        lines += ["", f"[columns.{name}]"]
        lines += [f"{_quote(written)} = {_quote(our)}" for written, our in mapping.items()]
    for file in files:
        missing = [
            column.name
            for column in file.table.columns
            if column.required and column.name not in file.columns.values()
        ]
        left = [cell for cell in file.raw.header if cell not in file.columns and cell.strip()]
        if missing:
            lines.append(
                f"# {_plain(file.raw.file)} lacks {', '.join(missing)}; "
                f"unmatched columns: {_plain(', '.join(left))}"
            )
    return lines


def _units(files: Iterable[_File]) -> list[str]:
    lines: list[str] = []
    seen: set[str] = set()
    for file in files:
        own = []
        for written, our in file.columns.items():
            dimension = file.column(our).dimension
            if dimension is None or not any(text.strip() for text in file.texts_of(written)):
                continue
            line = _unit_line(our, unit_in(written), "[" in written, dimension)
            own += [line] if line and our not in seen else []
            seen.add(our)
        if own:
            lines += ["", f"[units.{file.table.name}]", *own]
        seen.clear()
    return _merge_sections(lines)


def _unit_line(our: str, unit: str | None, square: bool, dimension: Dimension) -> str | None:
    words = unit_words(dimension)
    by_folded = {word.casefold().replace(".", ""): word for word in words}
    word = by_folded.get((unit or "").casefold().replace(".", "").replace("°", "deg"))
    if word is not None:
        return None if square and unit == word else f"{our} = {_quote(word)}"
    choices = [choice for choice in words if choice[:-1].casefold() == (unit or "").casefold()]
    said = f"the header says {_plain(unit)!r}" if unit else "the header says no unit"
    offered = " ".join(choices or words)
    return f"# ? {our} = {_quote((choices or words)[0])}  # {said}; one of: {offered}"


def _words(files: Iterable[_File]) -> list[str]:
    lines: list[str] = []
    for file in files:
        for written, our in file.columns.items():
            column = file.column(our)
            if column.kind not in (Kind.CODE, Kind.YES_NO):
                continue
            read = value_parser(column, Settings(), {})
            strange = [
                text.strip()
                for text in file.texts_of(written)
                if text.strip() and not isinstance(read(text), str | bool)
            ]
            if strange:
                lines += ["", f"[words.{file.table.name}.{our}]"]
                lines += [_word_line(text, column) for text in sorted(set(strange))[:_MOST_WORDS]]
    return _merge_sections(lines)


def _word_line(text: str, column: Column) -> str:
    word, usual = suggest_word(text, column)
    if usual:
        return f"{_quote(text)} = {_quote(word)}"
    allowed = " ".join(column.allowed) or "yes no"
    return f"# ? {_quote(text)} = {_quote(word)}  # one of: {allowed}"


def _merge_sections(lines: Sequence[str]) -> list[str]:
    """Join sections of one name: several files may hold one table."""
    sections: dict[str, list[str]] = {}
    current = ""
    for line in lines:
        if line.startswith("["):
            current = line
        elif line and line not in sections.setdefault(current, []):
            sections[current].append(line)
    result: list[str] = []
    for head, body in sections.items():
        result += ["", head, *_first_of_each_key(body)]
    return result


def _quote(text: str) -> str:
    """Write a TOML basic string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plain(text: str) -> str:
    """Keep a text inside its comment."""
    return " ".join(repr(text)[1:-1].split())
