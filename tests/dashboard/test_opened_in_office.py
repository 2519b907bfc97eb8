"""Exported tables as LibreOffice opens them: no text runs, numbers stay numbers.

The office reads the file and writes its own XML, in which every cell states its type and
its formula, if it made one of the text.
"""

import csv
import os
import shutil
import subprocess
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from dashboard.export import file_of

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
pytestmark = pytest.mark.skipif(
    OFFICE is None, reason="no LibreOffice on this machine: install libreoffice-calc"
)

TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
VALUE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
HOSTILE = [
    "=1+1",
    '=HYPERLINK("http://192.0.2.1","open")',
    '=WEBSERVICE("http://192.0.2.1/")',
    "+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(A1:A9)",
    "\t=1+1",
    "\r=1+1",
    "\n=1+1",
    " =1+1",
    "＝1+1",
    "{=1+1}",
    '=DDE("soffice";"x";"y")',
    "'=1+1",
    '"=1+1',
    "1;=1+1",
    "a,=1+1",
    "<script>alert(1)</script>",
    "javascript:alert(1)",
]
NUMBERS = [0.0, -0.5, 1234567.25, -3.0, 1e-9, 2.5e12, 0.1]


def opened(frame: pd.DataFrame, suffix: str, folder: Path) -> list[list[ElementTree.Element]]:
    """Give the cells, row by row, of an exported frame after the office has opened it."""
    path = folder / f"table.{suffix}"
    path.write_bytes(file_of(frame, suffix))
    # Comma, double quote, UTF-8, first line 1: what its import window proposes for such a file.
    reading = ["--infilter=CSV:44,34,76,1"] if suffix == "csv" else []
    subprocess.run(
        [OFFICE, "--headless", f"-env:UserInstallation={(folder / 'profile').as_uri()}", *reading]
        + ["--convert-to", "ods", "--outdir", str(folder), str(path)],
        check=True,
        capture_output=True,
        timeout=120,
        env={**os.environ, "HOME": str(folder)},
    )
    with zipfile.ZipFile(folder / "table.ods") as book:
        root = ElementTree.fromstring(book.read("content.xml"))
    sheet = root.find(f".//{TABLE}table")
    rows = [row.findall(f"{TABLE}table-cell") for row in sheet.iter(f"{TABLE}table-row")]
    return [row for row in rows if row and row[0].get(f"{VALUE}value-type")]


def said(cell: ElementTree.Element) -> str:
    return "\n".join("".join(part.itertext()) for part in cell.findall(f"{TEXT}p"))


@pytest.mark.parametrize("suffix", ["csv", "xlsx"])
def test_no_exported_text_becomes_a_formula_and_numbers_stay_numbers(suffix: str, tmp_path: Path):
    size = max(len(HOSTILE), len(NUMBERS))
    frame = pd.DataFrame(
        {
            "=1+1": np.resize(np.array(HOSTILE, dtype=object), size),
            "number": np.resize(NUMBERS, size),
            "day": pd.to_datetime(["2025-03-01"] * size),
            "count": pd.array(range(size), dtype="Int64"),
        }
    )
    header, *rows = opened(frame, suffix, tmp_path)

    assert len(rows) == size
    cells = [cell for row in [header, *rows] for cell in row]
    assert [said(cell) for cell in cells if cell.get(f"{TABLE}formula")] == []
    assert {row[0].get(f"{VALUE}value-type") for row in rows} == {"string"}
    assert {row[1].get(f"{VALUE}value-type") for row in rows} == {"float"}
    got = [float(row[1].get(f"{VALUE}value")) for row in rows]
    np.testing.assert_allclose(got, frame["number"], rtol=1e-12)
    assert [int(row[3].get(f"{VALUE}value")) for row in rows] == list(range(size))


def test_an_unsafe_file_would_be_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def unsafe(frame: pd.DataFrame, suffix: str) -> bytes:
        path = tmp_path / f"unsafe.{suffix}"
        frame.to_csv(path, index=False, quoting=csv.QUOTE_MINIMAL)
        return path.read_bytes()

    monkeypatch.setitem(opened.__globals__, "file_of", unsafe)
    _, row = opened(pd.DataFrame({"text": ["=1+1"], "number": [2.5]}), "csv", tmp_path)

    assert row[0].get(f"{TABLE}formula")
