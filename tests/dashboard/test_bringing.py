"""Bringing logs: files kept under safe names, a mapping settled, rows checked, the job run."""

import io
import time
import zipfile
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sample import sample_findings
from small_logs import FILES, small_logs

from dashboard.app import build_app

OWN = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    return small_logs(tmp_path / "logs")


@pytest.fixture
def client(logs: Path) -> FlaskClient:
    return build_app(sample_findings(positions=6), logs=logs).server.test_client()


def bring(client: FlaskClient, files: dict[str, str]):
    data = {"files": [(io.BytesIO(text.encode()), name) for name, text in files.items()]}
    return client.post("/bring", data=data, headers=OWN)


def test_brought_files_are_checked_with_the_mapping_proposed(client: FlaskClient):
    files = {name: text for name, text in FILES.items() if name != "logs.toml"}
    answer = bring(client, files)
    shown = client.get(answer.headers["Location"], headers=OWN).get_data(as_text=True)

    assert answer.status_code == 302
    assert "A draft of logs.toml" in shown
    assert "<td>positions</td><td>2</td><td>2</td><td>0</td>" in shown
    assert "Run the job" in shown


def test_a_row_set_aside_is_shown_with_its_mend(client: FlaskClient):
    files = FILES | {"installs.csv": FILES["installs.csv"] + "I-2,P-9,2024-05-01,FS-100-06\n"}
    shown = client.get(bring(client, files).headers["Location"], headers=OWN).get_data(as_text=True)

    assert "<td>P-9</td><td>unknown_position</td>" in shown


def test_a_folder_that_cannot_be_read_says_why_and_cannot_be_run(client: FlaskClient):
    where = bring(client, {"installs.csv": FILES["installs.csv"]}).headers["Location"]
    shown = client.get(where, headers=OWN).get_data(as_text=True)

    assert "tables missing" in shown
    assert "Run the job" not in shown


def test_a_settled_mapping_is_kept_and_used(client: FlaskClient, logs: Path):
    where = bring(client, FILES).headers["Location"]
    mapping = 'title = "Ours"\nlog_begins = 2020-01-01\nexport_date = 2024-12-31\n'
    client.post(f"{where}/mapping", data={"mapping": mapping}, headers=OWN)

    folder = logs / "recorded" / where.replace("/bring/", "brought/")
    assert (folder / "logs.toml").read_text() == mapping


def test_the_job_runs_on_what_was_brought_and_the_pages_show_it(client: FlaskClient):
    where = bring(client, FILES).headers["Location"]
    assert client.post(f"{where}/run", headers=OWN).headers["Location"] == "/logs"
    for _ in range(100):
        layout = client.get("/_dash-layout", headers=OWN).get_data(as_text=True)
        if "Small, logs to 2024-12-31" in layout:
            return
        time.sleep(0.2)
    pytest.fail("the pages never showed the logs that were brought")


@pytest.mark.parametrize(
    "name",
    [
        "../x.csv",
        "a/b.csv",
        ".csv",
        "x.exe",
        "x.csv.exe",
        "recorded",
        "x\x00.csv",
        "<b>.csv",
        "x" * 90,
    ],
)
def test_no_other_name_is_taken(client: FlaskClient, logs: Path, name: str):
    before = sorted(logs.parent.rglob("*"))
    answer = bring(client, {name: "a,b\n"})

    assert answer.status_code == 400
    assert "<b>" not in answer.get_data(as_text=True)
    assert sorted(logs.parent.rglob("*")) == before


@pytest.mark.parametrize("number", ["20240101-abcdef", "..", "x", "%2e%2e"])
def test_no_other_folder_is_shown(client: FlaskClient, number: str):
    answer = client.get(f"/bring/{number}", headers=OWN)

    assert answer.status_code in (200, 404)
    assert "Brought:" not in answer.get_data(as_text=True)


def test_brought_files_do_not_mix_with_the_plants_own(client: FlaskClient, logs: Path):
    bring(client, FILES)

    assert {path.name for path in logs.iterdir()} == {*FILES, "recorded"}


def test_templates_are_a_log_folder(client: FlaskClient):
    packed = client.get("/bring/templates.zip", headers=OWN).data

    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        assert {"installs.csv", "positions.csv", "example/discs.csv"} <= set(archive.namelist())


def test_another_site_cannot_bring_files(client: FlaskClient):
    data = {"files": [(io.BytesIO(b"a"), "installs.csv")]}
    headers = OWN | {"Origin": "http://example.org"}

    assert client.post("/bring", data=data, headers=headers).status_code == 403


def test_many_rows_are_read_and_looked_at_outside_the_server(
    client: FlaskClient, monkeypatch: pytest.MonkeyPatch
):
    apart = []
    monkeypatch.setattr(
        "dashboard.bringing.folder.aside",
        lambda work, folder: apart.append(work.__name__) or work(folder),
    )
    monkeypatch.setattr("dashboard.bringing.folder._MANY_BYTES", 0)
    files = {name: text for name, text in FILES.items() if name != "logs.toml"}
    client.get(bring(client, files).headers["Location"], headers=OWN)

    assert sorted(apart) == ["_counted", "propose"]
