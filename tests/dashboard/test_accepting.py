"""A recommendation is accepted by a person, noted once, and changes nothing else."""

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest
from asked import body_of
from dash import Dash
from flask.testing import FlaskClient
from sample import empty_findings, sample_findings
from small_logs import small_logs

from dashboard.accepting import accepted_of, interval_key, order_key, recommendation
from dashboard.access.door import COOKIE
from dashboard.access.people import Role, open_access
from dashboard.access.sessions import begin
from dashboard.app import build_app
from dashboard.changes import changes_file, changes_of
from dashboard.orders import to_order

OWN = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}
SAMPLE = sample_findings()
SHORTEN = SAMPLE.intervals[SAMPLE.intervals["proposal"] == "shorten"].iloc[0]
ORDER = to_order(SAMPLE).iloc[0]
KEY = order_key(ORDER["store"], ORDER["disc_code"])


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    return small_logs(tmp_path / "logs")


@pytest.fixture
def app(logs: Path, tmp_path: Path) -> Dash:
    return build_app(SAMPLE, logs=logs, access=open_access(tmp_path / "access.sqlite"))


def as_(app: Dash, name: str, role: Role) -> FlaskClient:
    client = app.server.test_client()
    secret = begin(app.server.config["ACCESS"], name, role)
    client.set_cookie(COOKIE, secret, domain="127.0.0.1")
    return client


def press(app: Dash, client: FlaskClient, key: str):
    body = body_of(app, "accepted.data", {"accept.name": key, "n_clicks": 1})
    return client.post("/_dash-update-component", json=body, headers=OWN)


def said_beside(app: Dash, client: FlaskClient, key: str) -> str:
    body = body_of(app, '{"accepted":["ALL"]}.children', {"accepted.name": key})
    found = client.post("/_dash-update-component", json=body, headers=OWN).get_json()
    return next(iter(found["response"].values()))["children"]


def held(folder: Path) -> str:
    files = sorted(path for path in folder.iterdir() if path.is_file())
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


def test_accepting_notes_who_when_what_data_and_model_once(app: Dash, logs: Path):
    before = held(logs)
    ada, bob = as_(app, "ada", Role.EDITOR), as_(app, "bob", Role.VIEWER)
    assert said_beside(app, bob, KEY) == ""
    assert press(app, ada, KEY).status_code == 200
    assert press(app, ada, KEY).status_code == 200

    (noted,) = changes_of(changes_file(logs)).to_dict("records")
    assert noted["what"] == (
        f"order {ORDER['order_quantity']} of {ORDER['disc_code']} for {ORDER['store']}"
        f" by {ORDER['order_by']:%Y-%m-%d}"
    )
    assert (noted["by"], noted["account"]) == ("ada", "ada")
    assert noted["kind"] == "accepted recommendation"
    assert (noted["data_version"], noted["model_version"]) == (
        SAMPLE.data_version,
        SAMPLE.model_version,
    )
    assert said_beside(app, bob, KEY) == f"ada, {noted['at'][:10]}"
    assert held(logs) == before


def test_a_viewer_cannot_accept(app: Dash, logs: Path):
    assert press(app, as_(app, "bob", Role.VIEWER), KEY).status_code == 403
    assert accepted_of(changes_file(logs)) == {}


def test_a_shorter_interval_can_be_accepted_a_longer_one_cannot():
    said = recommendation(SAMPLE, interval_key(SHORTEN["position_id"]))
    assert said.startswith(f"replace the disc at {SHORTEN['position_id']} at ")

    others = SAMPLE.intervals[SAMPLE.intervals["proposal"] != "shorten"]
    assert {"ask", "keep"} & set(others["proposal"])
    assert {recommendation(SAMPLE, interval_key(name)) for name in others["position_id"]} == {""}


def test_what_changed_since_has_to_be_accepted_anew(app: Dash, logs: Path):
    press(app, as_(app, "ada", Role.EDITOR), KEY)
    more = SAMPLE.spares.assign(order_quantity=SAMPLE.spares["order_quantity"] + 1)
    changed = replace(SAMPLE, spares=more)

    assert recommendation(SAMPLE, KEY) in accepted_of(changes_file(logs))
    assert recommendation(changed, KEY) not in accepted_of(changes_file(logs))


@pytest.mark.parametrize(
    "key", ["", "x", "[]", "7", '["order"]', '["order", "a", "b", "c"]', '["interval", {}]', "null"]
)
def test_what_is_not_recommended_is_not_noted(app: Dash, logs: Path, key: str):
    assert recommendation(SAMPLE, key) == recommendation(empty_findings(), KEY) == ""
    assert press(app, as_(app, "ada", Role.EDITOR), key).status_code == 200
    assert not changes_file(logs).exists()
