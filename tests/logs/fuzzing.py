"""Dirty files by seed, and the laws that reading them must keep."""

import csv
import io
import random
import string
from collections import Counter
from datetime import date
from pathlib import Path

import openpyxl

from analytics.errors import InputError
from analytics.logs.checking import accepted, check_table, quarantine
from analytics.logs.files import read_file
from analytics.logs.headers import count_known
from analytics.logs.records import RawTable
from analytics.logs.settings import Settings
from analytics.logs.tables import TABLES, Column, Kind, Table

__all__ = ["check_laws", "dirty_file", "fuzz"]

LAST_DAY = date(2024, 6, 30)
GARBAGE = (
    "", " ", "NA", "nan", "inf", "-", "0012", "1E5", "50060e8007123400", "1,234", "1.234,5", "-0.5",
    "03/04/2021", "2021-02-30", "9999-12-31", "44289", "=1+1", "@x", "yes", "maybe", "\U0001f9ea",
    "a\x00b", "x" * 40_000, "'", '"', '""', "\u202eabc", "\ufeff", "1e999", "9" * 400,
    "\u0661\u0662",
    "line\nbreak", "a;b", "a,b", "a\tb", "a|b", "\\", "<!ENTITY>", "true", "-3", "1e9", "#REF!",
)  # fmt: skip
UNITS = {"barg": "barg", "degc": "degC", "nm": "N.m", "mm": "mm", "h": "h"}


def good_value(column: Column, dice: random.Random) -> str:
    match column.kind:
        case Kind.TEXT:
            return "".join(dice.choices(string.ascii_letters + "äß 0-_/", k=dice.randint(1, 12)))
        case Kind.CODE:
            return dice.choice(column.allowed)
        case Kind.YES_NO:
            return dice.choice(["yes", "no", ""])
        case Kind.DATE | Kind.TIME:
            return f"20{dice.randint(10, 23)}-{dice.randint(1, 12):02d}-{dice.randint(1, 28):02d}"
        case Kind.STEPS:
            return "30/60/100"
        case Kind.CURVE:
            return "20:1.00/100:0.94"
        case Kind.COUNT:
            return str(dice.randint(1, 50))
        case Kind.NUMBER:
            return repr(round(dice.uniform(0, min(column.maximum or 50, 50)), 3))


def header(column: Column) -> str:
    unit = f" [{UNITS[column.dimension.value]}]" if column.dimension else ""
    return column.name + unit


def dirty_rows(table: Table, dice: random.Random) -> list[list[str]]:
    columns = [column for column in table.columns if column.required or dice.random() < 0.6]
    rows = [[good_value(column, dice) for column in columns] for _ in range(dice.randint(0, 25))]
    for _ in range(dice.randint(0, 8)):
        if rows:
            row = dice.choice(rows)
            row[dice.randrange(len(row))] = dice.choice(GARBAGE)
    for _ in range(dice.randint(0, 3)):
        if rows:
            rows.insert(dice.randrange(len(rows) + 1), list(dice.choice(rows)))
    if rows and dice.random() < 0.2:
        dice.choice(rows).append("extra")
    if rows and dice.random() < 0.2:
        dice.choice(rows).pop()
    names = [header(column) for column in columns]
    if dice.random() < 0.1:
        names[dice.randrange(len(names))] = dice.choice(GARBAGE)
    return [names, *rows]


def dirty_csv(table: Table, dice: random.Random) -> bytes:
    buffer = io.StringIO()
    writer = csv.writer(
        buffer,
        delimiter=dice.choice(",;\t|"),
        lineterminator=dice.choice(["\n", "\r\n", "\r"]),
        quoting=dice.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
    )
    writer.writerows(dirty_rows(table, dice))
    encoding = dice.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16", "cp1252"])
    data = bytearray(buffer.getvalue().encode(encoding, "replace"))
    mangle(data, dice)
    return bytes(data)


def mangle(data: bytearray, dice: random.Random) -> None:
    """Flip, cut, double and insert, as bad disks, links and editors do."""
    for _ in range(dice.choice([0, 0, 1, 1, 3, 10])):
        if not data:
            return
        at = dice.randrange(len(data))
        match dice.randrange(6):
            case 0:
                data[at] = dice.randrange(256)
            case 1:
                del data[at:]
            case 2:
                data[at:at] = data[at : at + dice.randrange(200)]
            case 3:
                data[at:at] = dice.choice([b'"', b'"', b"\n", b"\r", b"\x00", b",", b";", b"\x1a"])
            case 4:
                del data[at : at + dice.randrange(1, 50)]
            case 5:
                data[at:at] = dice.choice(GARBAGE).encode("utf-8")


def dirty_workbook(table: Table, dice: random.Random) -> bytes:
    book = openpyxl.Workbook()
    book.active.title = dice.choice([table.name, "Sheet1"])
    for row in dirty_rows(table, dice):
        book.active.append([typed(text, dice) for text in row])
    buffer = io.BytesIO()
    book.save(buffer)
    data = bytearray(buffer.getvalue())
    if dice.random() < 0.4:
        mangle(data, dice)
    return bytes(data)


def typed(text: str, dice: random.Random) -> object:
    clean = "".join(letter for letter in text if letter >= " " or letter == "\n")[:32_000]
    if dice.random() < 0.5:
        for kind in (int, float, date.fromisoformat):
            try:
                value = kind(clean)
            except ValueError:
                continue
            return clean if isinstance(value, int | float) and not abs(value) < 1e300 else value
    return clean


def dirty_file(seed: int, folder: Path, *, workbook: bool) -> tuple[Table, Path]:
    """Write one dirty file; the same seed writes the same file."""
    dice = random.Random(f"dirty {seed}")
    table = dice.choice(list(TABLES.values()))
    path = folder / f"{table.name}.{'xlsx' if workbook else 'csv'}"
    path.write_bytes((dirty_workbook if workbook else dirty_csv)(table, dice))
    return table, path


def check_laws(table: Table, path: Path) -> str:
    """Read and check one file; AssertionError when a law is broken, else what happened."""
    settings = Settings()
    try:
        raw = read_file(
            path,
            settings,
            sheets=[table.name],
            known=lambda cells: count_known(cells, table, settings),
        )
        checked = check_table(table, [raw], settings, last_day=LAST_DAY)
    except InputError as error:
        if "\n" in str(error):
            raise AssertionError("an error must be one line") from error
        return "refused"
    good = accepted(checked)
    held = quarantine(checked)
    lines = set(held["line"])
    assert len(good) + len(held.drop_duplicates("line")) == checked.read, "rows do not add up"
    assert not lines & set(good["source_line"]), "a row is both accepted and held"
    assert (held["raw"].str.len() > 0).all(), "a held row lost its raw text"
    assert (held["mend"].str.len() > 0).all(), "a held row does not say what would mend it"
    assert_nothing_lost(raw)
    return "held some" if len(held) else "all good"


def assert_nothing_lost(raw: RawTable) -> None:
    """Every line with any text below the header belongs to one row, or to a broken one."""
    texts = raw.text_lines.to_pylist()
    owners = Counter(number for first, last in raw.spans for number in range(first, last))
    assert not owners or max(owners.values()) == 1, "a line was read twice"
    broken = [item.raw for item in raw.broken]
    for number in range(raw.header_end, len(texts)):
        line = texts[number].strip("\r\n")
        if not owners[number] and says(line):
            assert any(line in text for text in broken), f"line {number + 1} is lost"


def says(line: str) -> bool:
    return bool(line.strip('\r\n\t ,;|"0123456789'))


def fuzz(seeds: range, folder: Path, *, every_nth_workbook: int) -> Counter[str]:
    """Run many seeds; the first broken law names its seed."""
    outcomes: Counter[str] = Counter()
    for seed in seeds:
        table, path = dirty_file(seed, folder, workbook=seed % every_nth_workbook == 0)
        try:
            outcomes[check_laws(table, path)] += 1
        except Exception as error:
            raise AssertionError(f"seed {seed} ({path.name}): {error!r}") from error
        path.unlink()
    return outcomes
