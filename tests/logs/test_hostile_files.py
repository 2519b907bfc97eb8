import os
import time
from datetime import date
from pathlib import Path

import pytest
from killers import KILLERS, workbook, write_killer

from analytics.errors import InputError
from analytics.logs import sandbox
from analytics.logs.checking import accepted, check_table, quarantine
from analytics.logs.files import read_file
from analytics.logs.settings import Settings
from analytics.logs.tables import TABLES

STOCK = TABLES["stock"]
SECONDS = 2.0
MEGABYTES = 256.0
REFUSED_BEFORE_PARSING = (
    "sheet with two far cells",
    "sheet with a far column",
    "sheet with far rows",
    "sheet of empty cells",
    "size that lies",
    "entity bomb",
    "external entity",
    "name that climbs out",
    "absolute name",
    "encrypted parts",
    "encrypted file",
    "truncated",
    "half",
    "six thousand parts",
)


def known(header):
    return sum(cell.strip() in ("store", "disc_code", "lot", "quantity") for cell in header)


def handle(path: Path) -> tuple[int, int, int] | None:
    """Read and check; None when refused in one line."""
    try:
        raw = read_file(path, Settings(), sheets=["stock"], known=known)
        checked = check_table(STOCK, [raw], Settings(), last_day=date(2024, 1, 1))
    except InputError as error:
        if "\n" in str(error) or len(str(error)) > 600:
            pytest.fail(f"not one clear line: {error}")
        return None
    held = quarantine(checked).drop_duplicates(["file", "line"])
    return checked.read, len(accepted(checked)), len(held)


def processor_seconds() -> float:
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def peak_megabytes() -> float:
    status = Path("/proc/self/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1000


def forget_peak() -> float:
    Path("/proc/self/clear_refs").write_text("5")
    return peak_megabytes()


@pytest.mark.parametrize("name", KILLERS)
def test_killers_are_refused_or_handled_in_little_time_and_memory(name, tmp_path):
    path = write_killer(name, tmp_path)
    before = forget_peak()
    started = processor_seconds()
    result = handle(path)

    assert processor_seconds() - started < SECONDS
    assert peak_megabytes() - before < MEGABYTES
    if result is not None:
        read, good, held = result
        assert good + held == read


@pytest.mark.parametrize("name", REFUSED_BEFORE_PARSING)
def test_hostile_workbooks_never_reach_the_parser(name, tmp_path, monkeypatch):
    path = write_killer(name, tmp_path)
    script = sandbox._SCRIPT.read_text(encoding="utf-8")
    # In this copy the parser ends the child with another code than a refusal does.
    broken = tmp_path / "unpack.py"
    broken.write_text(script.replace("import python_calamine\n", "os._exit(9)\n"))
    monkeypatch.setattr(sandbox, "_SCRIPT", broken)

    with pytest.raises(InputError) as caught:
        read_file(path, Settings(), sheets=["stock"], known=known)
    assert "broke its reader" not in str(caught.value)


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("encrypted parts", "is encrypted; save it without a password"),
        ("encrypted file", "is encrypted or an old .xls"),
        ("name that climbs out", "holds a part that points outside it"),
        ("entity bomb", "declares XML entities"),
        ("sheet of empty cells", "unpacks to 306 MB"),
        ("sheet with two far cells", "delete the empty rows and columns"),
        ("truncated", "is no whole XLSX file"),
        ("no Parquet", "cannot be read as Parquet"),
    ],
)
def test_a_refusal_says_what_would_mend_it(name, match, tmp_path):
    with pytest.raises(InputError, match=match):
        handle_raw(write_killer(name, tmp_path))


def test_the_gate_above_tells_a_parsed_file_from_a_refused_one(tmp_path, monkeypatch):
    # Negative control: an honest workbook does reach the parser of the broken copy.
    (tmp_path / "stock.xlsx").write_bytes(workbook())
    broken = tmp_path / "unpack.py"
    script = sandbox._SCRIPT.read_text(encoding="utf-8")
    broken.write_text(script.replace("import python_calamine\n", "os._exit(9)\n"))
    monkeypatch.setattr(sandbox, "_SCRIPT", broken)

    with pytest.raises(InputError, match="broke its reader"):
        handle_raw(tmp_path / "stock.xlsx")


def handle_raw(path: Path):
    return read_file(path, Settings(), sheets=["stock"], known=known)


@pytest.mark.parametrize(
    ("fault", "match"),
    [
        ("os.abort()", "broke its reader or needs too much memory"),
        ("bytearray(10**10)", "broke its reader or needs too much memory"),
        ("__import__('time').sleep(30)", "took more than 1 s to open"),
    ],
)
def test_a_parser_that_dies_starves_or_hangs_is_one_clear_line(tmp_path, monkeypatch, fault, match):
    (tmp_path / "stock.xlsx").write_bytes(workbook())
    broken = tmp_path / "unpack.py"
    script = sandbox._SCRIPT.read_text(encoding="utf-8")
    broken.write_text(script.replace("import python_calamine\n", f"{fault}\n"))
    monkeypatch.setattr(sandbox, "_SCRIPT", broken)
    monkeypatch.setattr(sandbox, "_SECONDS", 1)

    started = time.monotonic()
    with pytest.raises(InputError, match=match):
        handle_raw(tmp_path / "stock.xlsx")
    assert time.monotonic() - started < 10


def test_an_honest_workbook_is_read(tmp_path):
    (tmp_path / "stock.xlsx").write_bytes(workbook())
    assert handle(tmp_path / "stock.xlsx") == (1, 1, 0)
