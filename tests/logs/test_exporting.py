import openpyxl
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.errors import InputError
from analytics.logs.exporting import export_frame, export_logs
from analytics.logs.formulas import neutralise, restore
from analytics.logs.reading import read_logs

AWKWARD = [
    "0012",
    "#N/A",
    "NA",
    "1E5",
    "-0.5",
    "=1+1",
    "''=1+1",
    "@x",
    "+49 30",
    "emoji \U0001f9ea",
    "a\nb",
]
REMOVALS = "removal_id,position_id,found_on,reason,peak_pressure [barg],cost,remarks\n" + "".join(
    f'"{text}",P-1,2021-04-0{n % 9 + 1},burst,0.30000000000000004,-0.0,"{text}"\n'
    for n, text in enumerate(AWKWARD)
)


@given(st.text())
def test_neutralising_is_undone_exactly_and_never_starts_a_formula(text):
    shown = neutralise(text)

    assert restore(shown) == text
    if shown[:1] in ("=", "@", "\t", "\r"):
        pytest.fail(f"{shown!r} would run")
    if shown[:1] in ("+", "-"):
        float(shown.replace(",", "."))


@pytest.mark.parametrize("suffix", [".csv", ".xlsx"])
def test_export_then_import_is_equal_to_the_bit(plant, tmp_path, suffix):
    logs = read_logs(plant(removals=REMOVALS))
    assert logs.tables["removals"]["removal_id"].tolist() == [restore(text) for text in AWKWARD]

    export_logs(logs, tmp_path / "out", suffix=suffix)
    again = read_logs(tmp_path / "out")

    assert again.quarantine.empty
    for name in logs.present:
        pd.testing.assert_frame_equal(
            logs.tables[name].drop(columns=["source_file", "source_line"]),
            again.tables[name].drop(columns=["source_file", "source_line"]),
            check_exact=True,
        )


def test_negative_numbers_stay_numbers_and_formulas_become_text(tmp_path):
    frame = pd.DataFrame({"a": [-0.5, -3.0], "b": ["=1+1", "-0.5"]})
    export_frame(frame, tmp_path / "x.xlsx")
    rows = list(openpyxl.load_workbook(tmp_path / "x.xlsx").active.iter_rows())

    assert [rows[1][0].value, rows[2][0].value] == [-0.5, -3.0]
    assert [cell[1].data_type for cell in rows[1:]] == ["s", "s"]
    assert [cell[1].value for cell in rows[1:]] == ["'=1+1", "-0.5"]

    export_frame(frame, tmp_path / "x.csv")
    lines = (tmp_path / "x.csv").read_text(encoding="utf-8-sig").splitlines()
    assert lines == ["a,b", "-0.5,'=1+1", "-3.0,-0.5"]


def test_an_unknown_ending_is_refused(tmp_path):
    with pytest.raises(InputError, match="must end in .csv or .xlsx"):
        export_frame(pd.DataFrame({"a": [1]}), tmp_path / "x.pickle")
