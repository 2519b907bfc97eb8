"""Rows set aside are mended in the browser, checked like the rest, and their file stays."""

import json
from pathlib import Path

import openpyxl
import pytest
from flask.testing import FlaskClient
from sample import sample_findings
from small_logs import FILES, small_logs

from analytics.errors import InputError
from analytics.logs.mending import MENDS
from analytics.logs.reading import read_logs
from analytics.logs.store.importing import import_logs
from analytics.logs.store.loading import stored_logs
from analytics.logs.store.opening import open_store
from dashboard.app import build_app
from dashboard.changes import changes_file, changes_of
from dashboard.mending.row import look_at, retry

OWN = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
INSTALLS = FILES["installs.csv"] + (
    "I-2,P-9,2024-05-01,FS-100-06\n"
    "I-3,P-2,05/2024,GR-150-02\n"
    "I-4,P-2\n"
    'I-5,P-1,2024-06-01,"<script>alert(1)</script>"\n'
)
AT = "/mend/now/installs/3?file=installs.csv"


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    folder = small_logs(tmp_path / "logs")
    (folder / "installs.csv").write_text(INSTALLS)
    return folder


@pytest.fixture
def client(logs: Path) -> FlaskClient:
    return build_app(sample_findings(positions=6), logs=logs).server.test_client()


def mend(folder: Path, line: int, **changes: str):
    row = look_at(folder, "installs", "installs.csv", line)
    cells = [changes.get(name, text) for name, text in zip(row.header, row.cells, strict=True)]
    return retry(folder, row, cells, by="ada", why="misread")


def test_a_mended_row_joins_the_rest_and_its_file_stays(logs: Path):
    before = read_logs(logs)
    after, changed = mend(logs, 3, position_id="P-1")
    logs_now = read_logs(logs)

    assert after.refused.empty
    assert changed == "position_id 'P-9' to 'P-1'"
    assert after.raw == "I-2,P-9,2024-05-01,FS-100-06"
    assert (logs / "installs.csv").read_text() == INSTALLS
    assert "I-2" in logs_now.tables["installs"]["install_id"].tolist()
    rows = [frame.set_index("table").loc["installs"] for frame in (before.rows, logs_now.rows)]
    assert rows[0]["read"] == rows[1]["read"] == 5
    assert rows[1]["accepted"] == rows[0]["accepted"] + 1
    assert any("count as mended here" in note for note in logs_now.notes)


def test_what_is_still_bad_stays_aside_with_its_new_reason(logs: Path):
    assert look_at(logs, "installs", "installs.csv", 3).refused["reason"].tolist() == [
        "unknown_position"
    ]
    after, _ = mend(logs, 3, position_id="P-1", installed_on="May")

    assert after.refused["reason"].tolist() == ["not_a_date"]
    again = read_logs(logs).quarantine.set_index("line").loc[3]
    assert again["value"] == "May"
    assert again["raw"] == "I-2,P-9,2024-05-01,FS-100-06"
    assert mend(logs, 3, installed_on="2024-05-01")[0].refused.empty


def test_a_line_that_could_not_be_split_is_given_whole(logs: Path):
    row = look_at(logs, "installs", "installs.csv", 5)
    assert row.refused["reason"].tolist() == ["broken_row"]
    assert row.cells == ("I-4", "P-2", "", "")

    after, _ = mend(logs, 5, installed_on="2024-07-01", disc_code="GR-150-02")
    assert after.refused.empty
    assert "I-4" in read_logs(logs).tables["installs"]["install_id"].tolist()


def test_a_mend_does_not_hide_a_double(logs: Path):
    after, _ = mend(logs, 3, install_id="I-1", position_id="P-1", installed_on="2024-03-01")

    assert after.refused["reason"].tolist() == ["duplicate_row"]
    assert len(read_logs(logs).tables["installs"]) == 1


def test_a_mend_of_a_line_that_changed_is_left_out_and_said(logs: Path):
    mend(logs, 3, position_id="P-1")
    (logs / "installs.csv").write_text(INSTALLS.replace("I-2,P-9", "I-7,P-9"))
    logs_now = read_logs(logs)

    assert "I-2" not in logs_now.tables["installs"]["install_id"].tolist()
    assert any("read otherwise now were left out: 3" in note for note in logs_now.notes)


def test_a_row_of_a_workbook_is_mended_too(tmp_path: Path):
    folder = small_logs(tmp_path / "logs")
    (folder / "installs.csv").unlink()
    book = openpyxl.Workbook()
    for line in INSTALLS.splitlines()[:3]:
        book.active.append(line.split(","))
    book.save(folder / "installs.xlsx")
    row = look_at(folder, "installs", "installs.xlsx", 3)
    after, _ = retry(folder, row, ["I-2", "P-1", *row.cells[2:]], by="ada", why="")

    assert after.refused.empty
    assert len(read_logs(folder).tables["installs"]) == 2


def test_the_store_takes_rows_as_mended(logs: Path, tmp_path: Path):
    mend(logs, 3, position_id="P-1")
    store = open_store(tmp_path / "plant.db")
    import_logs(store, logs, by="ada")

    assert "I-2" in stored_logs(store).tables["installs"]["install_id"].tolist()


@pytest.mark.parametrize("cells", [["I-2"], ["x" * 2_001, "P-1", "2024-05-01", "FS-100-06"]])
def test_what_is_no_row_is_refused(logs: Path, cells: list[str]):
    row = look_at(logs, "installs", "installs.csv", 3)
    with pytest.raises(InputError, match="needs 4 cells|at most 2,000"):
        retry(logs, row, cells, by="ada", why="")
    assert not (logs / MENDS).exists()


def test_a_torn_line_among_the_mends_is_passed_over(logs: Path):
    mend(logs, 3, position_id="P-1")
    with (logs / MENDS).open("a") as mends:
        mends.write('{"table": "installs", "fi')

    assert "I-2" in read_logs(logs).tables["installs"]["install_id"].tolist()


def test_the_page_shows_the_row_its_reason_and_its_mend(client: FlaskClient):
    shown = client.get(AT, headers=OWN).get_data(as_text=True)

    assert "I-2,P-9,2024-05-01,FS-100-06" in shown
    assert "unknown position" in shown
    assert 'name="cell1" value="P-9"' in shown
    assert '<p class=bad><label for="cell1">position_id</label>' in shown
    shown = client.get("/mend/now/installs/6?file=installs.csv", headers=OWN)
    assert "<script>alert" not in shown.get_data(as_text=True)


def test_the_page_retries_and_leaves_who_when_what_data_and_model(client: FlaskClient, logs: Path):
    form = {"cell0": "I-2", "cell1": "P-1", "cell2": "2024-05-01", "cell3": "FS-100-06"}
    still = client.post(AT, data=form | {"cell2": "May"}, headers=OWN).get_data(as_text=True)
    assert "Kept, but still set aside" in still
    assert "not a date" in still
    shown = client.post(AT, data=form | {"why": "misread"}, headers=OWN).get_data(as_text=True)
    assert "Accepted. The row joins the rest at the next reading" in shown

    noted = changes_of(changes_file(logs)).iloc[0]
    assert noted["kind"] == "correction"
    assert (
        noted["what"] == "mended installs.csv line 3: installed_on 'May' to '2024-05-01' (misread)"
    )
    assert noted["by"] == "this machine"
    assert noted["at"].endswith("+00:00")
    findings = sample_findings(positions=6)
    assert noted["data_version"] == findings.data_version != ""
    assert noted["model_version"] == findings.model_version != ""


@pytest.mark.parametrize(
    "address",
    [
        "/mend/now/installs/99?file=installs.csv",
        "/mend/now/nothing/3?file=installs.csv",
        "/mend/now/installs/3?file=../../etc/passwd",
        "/mend/now/installs/3",
        "/mend/elsewhere/installs/3?file=installs.csv",
        "/mend/20240101-abcdef/installs/3?file=installs.csv",
    ],
)
def test_what_is_no_row_of_these_logs_is_not_there(client: FlaskClient, logs: Path, address: str):
    assert client.get(address, headers=OWN).status_code == 404
    assert client.post(address, data={"cell0": "x"}, headers=OWN).status_code == 404
    assert not (logs / MENDS).exists()


def test_another_site_cannot_mend(client: FlaskClient, logs: Path):
    headers = OWN | {"Origin": "http://example.org"}

    assert client.post(AT, data={"cell1": "P-1"}, headers=headers).status_code == 403
    assert not (logs / MENDS).exists()


def test_the_list_of_changes_is_taken_away_without_formulas(client: FlaskClient, logs: Path):
    form = {"cell0": "I-2", "cell1": "=evil()", "cell2": "2024-05-01", "cell3": "FS-100-06"}
    client.post(AT, data=form | {"why": "=more()"}, headers=OWN)
    taken = client.get("/changes.csv", headers=OWN).get_data(as_text=True)

    assert "Data version" in taken
    assert "mended installs.csv line 3" in taken
    assert client.get("/changes.exe", headers=OWN).status_code == 404
    assert json.loads((logs / MENDS).read_text())["cells"][1] == "=evil()"


def test_a_plants_own_column_names_are_marked_and_mended(logs: Path):
    (logs / "logs.toml").write_text(
        FILES["logs.toml"] + '[columns.installs]\n"Tag No" = "position_id"\n'
    )
    (logs / "installs.csv").write_text(INSTALLS.replace("position_id", "Tag No"))
    row = look_at(logs, "installs", "installs.csv", 3)
    assert (row.header[1], row.bad) == ("Tag No", {1})

    assert retry(logs, row, ["I-2", "P-1", *row.cells[2:]], by="ada", why="")[0].refused.empty
