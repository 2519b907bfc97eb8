"""Files that are known to kill, stall or fool a reader. Built here, none kept on disk."""

import io
import struct
import zipfile
from pathlib import Path

import openpyxl

__all__ = ["KILLERS", "write_killer"]

HEADER = ("store", "disc_code", "lot", "quantity")
CSV_HEADER = b"store,disc_code,lot,quantity\n"
SHEET_START = (
    b'<?xml version="1.0" encoding="UTF-8"?>'
    b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
)
SHEET_END = b"</sheetData></worksheet>"


def workbook(rows=(("Main", "D-10", "L1", 2),)) -> bytes:
    book = openpyxl.Workbook()
    book.active.title = "stock"
    for row in (HEADER, *rows):
        book.active.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def with_part(name: str, content: bytes, *, add: bool = False) -> bytes:
    """Replace (or add) one part of a good workbook."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook())) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.namelist():
            if entry != name or not add:
                target.writestr(entry, content if entry == name else source.read(entry))
        if add:
            target.writestr(name, content)
    return out.getvalue()


SHEET = "xl/worksheets/sheet1.xml"


def sparse() -> bytes:
    cells = (
        b'<row r="1"><c r="A1"><v>1</v></c></row>'
        b'<row r="1048576"><c r="XFD1048576"><v>2</v></c></row>'
    )
    return with_part(SHEET, SHEET_START + cells + SHEET_END)


def sparse_without_references() -> bytes:
    """Rows that count themselves, and one column reference far out on each."""
    cells = b"".join(
        b'<row r="%d"><c r="A%d"><v>1</v></c><c r="XFD%d"><v>1</v></c></row>' % (n, n, n)
        for n in range(1, 2001)
    )
    return with_part(SHEET, SHEET_START + cells + SHEET_END)


def sparse_by_rows() -> bytes:
    """Cells without a reference of their own, in rows far apart."""
    cells = (
        b'<row r="1"><c><v>1</v></c></row>'
        b"<row r='1048576'><c><v>2</v></c>" + b"<c/>" * 200 + b"</row>"
    )
    return with_part(SHEET, SHEET_START + cells + SHEET_END)


def bloated() -> bytes:
    """300 KB that unpack to about 300 MB of empty cells."""
    row = b'<row r="1"><c r="A1" s="1"/></row>' * 1000
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook())) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for entry in source.namelist():
            if entry != SHEET:
                target.writestr(entry, source.read(entry))
        with target.open(SHEET, "w") as part:
            part.write(SHEET_START)
            for _ in range(9000):
                part.write(row)
            part.write(SHEET_END)
    return out.getvalue()


def entity_bomb() -> bytes:
    names = "abcdefghij"
    entities = "".join(
        f'<!ENTITY {name} "{f"&{before};" * 10}">'
        for before, name in zip(names, names[1:], strict=False)
    )
    text = (
        f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "lolololol">{entities}]>'
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
        '<row r="1"><c r="A1" t="inlineStr"><is><t>&j;</t></is></c></row></sheetData></worksheet>'
    )
    return with_part(SHEET, text.encode())


def entity_in_shared_strings() -> bytes:
    text = (
        '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>'
        '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        "<si><t>&a;</t></si></sst>"
    )
    return with_part("xl/sharedStrings.xml", text.encode(), add=True)


def lying_size() -> bytes:
    """The directory says a part is small; unpacking goes on and on."""
    data = bytearray(bloated())
    at = data.rfind(b"PK\x01\x02", 0, len(data))
    while at >= 0:
        length = struct.unpack_from("<H", data, at + 28)[0]
        if bytes(data[at + 46 : at + 46 + length]) == SHEET.encode():
            struct.pack_into("<I", data, at + 24, 1000)
        at = data.rfind(b"PK\x01\x02", 0, at)
    return bytes(data)


def encrypted() -> bytes:
    data = bytearray(workbook())
    at = 0
    while (at := data.find(b"PK\x01\x02", at)) >= 0:
        data[at + 8] |= 1
        at += 4
    return bytes(data)


def overlapping() -> bytes:
    """Many directory entries over the same packed bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target:
        for number in range(6000):
            target.writestr(f"xl/worksheets/sheet{number}.xml", b"")
    return out.getvalue()


KILLERS: dict[str, tuple[str, bytes | object]] = {
    "serial number as float": (".csv", CSV_HEADER + b"Main,D-10,50060e8007123400,2\n"),
    "sheet with two far cells": (".xlsx", sparse),
    "sheet with a far column": (".xlsx", sparse_without_references),
    "sheet with far rows": (".xlsx", sparse_by_rows),
    "sheet of empty cells": (".xlsx", bloated),
    "size that lies": (".xlsx", lying_size),
    "entity bomb": (".xlsx", entity_bomb),
    "external entity": (".xlsx", entity_in_shared_strings),
    "name that climbs out": (".xlsx", lambda: with_part("../../evil.xml", b"x", add=True)),
    "absolute name": (".xlsx", lambda: with_part("/etc/evil.xml", b"x", add=True)),
    "encrypted parts": (".xlsx", encrypted),
    "encrypted file": (".xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(4096)),
    "truncated": (".xlsx", lambda: workbook()[:-400]),
    "half": (".xlsx", lambda: workbook()[: len(workbook()) // 2]),
    "six thousand parts": (".xlsx", overlapping),
    "no zip": (".xlsx", b"store,disc_code\n"),
    "zip without a book": (".xlsx", lambda: zipped()),
    "empty": (".csv", b""),
    "only blanks": (".csv", b" \n\n,,,\n"),
    "only NUL": (".csv", bytes(10_000)),
    "NUL inside": (".csv", CSV_HEADER + b"Main,D-10,L\x001,2\n"),
    "unclosed quote": (".csv", CSV_HEADER + b'Main,"D-10,L1,2\n' + b"Main,D-10,L1,2\n" * 50_000),
    "every line opens a quote": (".csv", CSV_HEADER + b'"Main,D-10,L1,2\n' * 50_000),
    "a line of 20 MB": (".csv", CSV_HEADER + b"x" * 20_000_000 + b"\n"),
    "100000 columns": (".csv", b",".join(b"c%d" % n for n in range(100_000)) + b"\n"),
    "a million commas": (".csv", CSV_HEADER + b"," * 1_000_000 + b"\n"),
    "not text": (".csv", bytes(range(256)) * 100),
    "half of a UTF-16 letter": (".csv", b"\xff\xfe" + "store".encode("utf-16-le") + b"\x00"),
    "lone surrogate": (".csv", b"\xff\xfe" + b"\x00\xd8" + "tore".encode("utf-16-le")),
    "slow number": (".csv", CSV_HEADER + b"Main,D-10,L1," + b"9" * 30_000 + b"\n"),
    "power tower": (".csv", CSV_HEADER + b"Main,D-10,L1,9**9**9**9\n"),
    "no Parquet": (".parquet", b"PAR1" + bytes(1000) + b"PAR1"),
    "Parquet footer that lies": (".parquet", b"PAR1" + b"\x15\x04" * 500 + b"\xff\xff\xff\x7fPAR1"),
}
"""Name to file ending and content, or the function that makes it."""


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        target.writestr("hello.txt", "hello")
    return out.getvalue()


def write_killer(name: str, folder: Path) -> Path:
    """Write one of the killers as the stock table of a folder."""
    suffix, content = KILLERS[name]
    path = folder / f"stock{suffix}"
    path.write_bytes(content() if callable(content) else content)
    return path
