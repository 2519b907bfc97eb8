"""Who comes in: people, sessions, the door before every route, and safe starts only."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sample import sample_findings
from small_logs import small_logs

from analytics.errors import InputError
from dashboard.access.door import COOKIE
from dashboard.access.people import Access, Role, add_person, knows, open_access, remove_person
from dashboard.access.sessions import begin, end, end_all, one_time_token, redeem, session_of
from dashboard.app import build_app
from dashboard.callbacks.recording import WRITES
from dashboard.gate import LOCAL_HOSTS
from dashboard.serving import check_start

HOST = {"Host": "127.0.0.1:8050"}
OWN = HOST | {"Origin": "http://127.0.0.1:8050"}
PASSWORD = "correct horse battery"
NOW = datetime(2026, 1, 1, tzinfo=UTC)


@pytest.fixture
def access(tmp_path: Path) -> Access:
    return open_access(tmp_path / "access.sqlite")


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("guarded")
    access = open_access(folder / "access.sqlite")
    app = build_app(sample_findings(positions=6), logs=small_logs(folder / "logs"), access=access)
    return app, access


def test_a_password_is_known_only_when_right(access: Access):
    add_person(access, "ada", PASSWORD, Role.EDITOR)

    assert knows(access, "ada", PASSWORD) is Role.EDITOR
    assert knows(access, "ada", "wrong horse battery") is None
    assert knows(access, "bob", PASSWORD) is None


def test_no_password_stands_in_the_file(access: Access, tmp_path: Path):
    add_person(access, "ada", PASSWORD, Role.VIEWER)
    secret = begin(access, "ada", Role.VIEWER)
    kept = (tmp_path / "access.sqlite").read_bytes()

    assert b"argon2id" in kept
    assert PASSWORD.encode() not in kept
    assert secret.encode() not in kept
    assert (tmp_path / "access.sqlite").stat().st_mode & 0o077 == 0


def test_guessing_is_slowed_and_ends_by_itself(access: Access):
    add_person(access, "ada", PASSWORD, Role.VIEWER)
    for _ in range(6):
        assert knows(access, "ada", "wrong horse battery", now=NOW) is None

    assert knows(access, "ada", PASSWORD, now=NOW) is None
    assert knows(access, "ada", PASSWORD, now=NOW + timedelta(minutes=16)) is Role.VIEWER


@pytest.mark.parametrize(
    ("name", "password"), [("", PASSWORD), ("ada", "short"), ("x" * 81, PASSWORD)]
)
def test_a_weak_start_is_refused(access: Access, name: str, password: str):
    with pytest.raises(InputError, match="must hold"):
        add_person(access, name, password, Role.VIEWER)


def test_a_session_ends_by_time_by_hand_and_with_its_person(access: Access):
    add_person(access, "ada", PASSWORD, Role.VIEWER)
    secret = begin(access, "ada", Role.VIEWER, now=NOW)
    assert session_of(access, secret, now=NOW + timedelta(hours=11)).name == "ada"
    assert session_of(access, secret, now=NOW + timedelta(hours=13)) is None

    for ending in (
        lambda held: end(access, held),
        lambda held: end_all(access, "ada"),
        lambda held: add_person(access, "ada", PASSWORD + "!", Role.VIEWER),
        lambda held: remove_person(access, "ada"),
    ):
        held = begin(access, "ada", Role.VIEWER)
        assert session_of(access, held)
        ending(held)
        assert session_of(access, held) is None


def test_a_one_time_token_opens_once(access: Access):
    token = one_time_token(access)

    assert session_of(access, token) is None
    assert session_of(access, redeem(access, token)).role is Role.EDITOR
    assert redeem(access, token) is None


def test_a_one_time_token_grows_old(access: Access):
    token = one_time_token(access)

    assert redeem(access, token, now=datetime.now(UTC) + timedelta(minutes=16)) is None


def routes(app) -> list[tuple[str, str]]:
    fill = {"filename": "look.css", "package_name": "dash", "fingerprinted_path": "x.js"}
    fill |= {"key": "lives", "suffix": "csv", "path": "early", "number": "1"}
    asked = []
    for rule in app.server.url_map.iter_rules():
        if rule.endpoint in ("log_in", "enter"):
            continue
        path = re.sub(r"<(?:\w+:)?(\w+)>", lambda part: fill[part[1]], str(rule))
        asked += [(method, path) for method in rule.methods & {"GET", "POST"}]
    return [pair for pair in asked if pair[1] != "/assets/look.css"]


@pytest.mark.parametrize("kind", ["none", "forged", "expired", "revoked"])
def test_no_route_opens_without_a_session(guarded, kind: str):
    app, access = guarded
    secrets = {
        "none": "",
        "forged": "x" * 43,
        "expired": begin(access, "ada", Role.ADMIN, now=NOW),
        "revoked": begin(access, "ada", Role.ADMIN),
    }
    end(access, secrets["revoked"])
    asked = routes(app)
    for method, path in asked:
        client = app.server.test_client()
        if secrets[kind]:
            client.set_cookie(COOKIE, secrets[kind], domain="127.0.0.1")
        answer = client.open(
            path, method=method, headers=OWN, json={} if method == "POST" else None
        )
        assert answer.status_code in (400, 401), (method, path, answer.status_code)
        assert b"P-00" not in answer.data

    assert len(asked) >= 9


def entered(guarded, role: Role) -> FlaskClient:
    app, access = guarded
    client = app.server.test_client()
    client.set_cookie(COOKIE, begin(access, "ada", role), domain="127.0.0.1")
    return client


def sign_body() -> dict[str, object]:
    return {
        "output": WRITES,
        "outputs": [
            {"id": "record-said", "property": "children"},
            {"id": "record", "property": "data"},
        ],
        "inputs": [
            {"id": "save-draft", "property": "n_clicks", "value": 1},
            {"id": "sign-off", "property": "n_clicks", "value": None},
        ],
        "changedPropIds": ["save-draft.n_clicks"],
        "state": [
            [{"id": {"record": "crew"}, "property": "value", "value": "A"}],
            [{"id": {"record": "crew"}, "property": "id", "value": {"record": "crew"}}],
            {"id": "address", "property": "search", "value": ""},
            {"id": "record", "property": "data", "value": {"form": "installs", "name": None}},
        ],
    }


def test_a_viewer_reads_and_an_editor_writes(guarded):
    for role, status in ((Role.VIEWER, 403), (Role.EDITOR, 200), (Role.ADMIN, 200)):
        client = entered(guarded, role)
        assert client.get("/take/lives.csv", headers=HOST).status_code == 200
        answer = client.post("/_dash-update-component", json=sign_body(), headers=OWN)
        assert answer.status_code == status
        assert (client.post("/bring", headers=OWN).status_code == 403) is (status == 403)


def test_logging_in_and_out(guarded):
    app, access = guarded
    add_person(access, "eve", PASSWORD, Role.VIEWER)
    client = app.server.test_client()
    form = {"name": "eve", "password": PASSWORD}
    html = HOST | {"Accept": "text/html"}
    assert client.get("/early", headers=html).headers["Location"] == "/login"
    assert client.post("/login", data=form | {"password": "no"}, headers=OWN).status_code == 401

    answer = client.post("/login", data=form, headers=OWN)
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert client.get("/early", headers=html).status_code == 200

    client.post("/logout", headers=OWN)
    assert client.get("/early", headers=html).status_code == 302


def test_a_log_in_from_another_site_is_refused(guarded):
    app, _ = guarded
    headers = HOST | {"Origin": "http://example.org"}

    assert app.server.test_client().post("/login", headers=headers).status_code == 403


def test_a_link_lets_in_once(guarded):
    app, access = guarded
    token = one_time_token(access)
    first, second = app.server.test_client(), app.server.test_client()

    assert first.get(f"/enter/{token}", headers=HOST).status_code == 302
    assert first.get("/take/lives.csv", headers=HOST).status_code == 200
    assert second.get(f"/enter/{token}", headers=HOST).status_code == 401


HOSTS = ("0.0.0.0", "10.1.2.3", "::", "plant.example")


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("lacking", ["access", "people", "tls", "name", "host"])
def test_an_unsafe_start_is_refused_with_its_mend(tmp_path: Path, host: str, lacking: str):
    access = open_access(tmp_path / "access.sqlite", secure=lacking != "tls")
    if lacking != "people":
        add_person(access, "ada", PASSWORD, Role.VIEWER)
    given = None if lacking == "access" else access
    names = LOCAL_HOSTS if lacking == "name" else (*LOCAL_HOSTS, "plant.example")

    with pytest.raises(InputError, match="needs|must be named"):
        check_start("" if lacking == "host" else host, access=given, hosts=names)


def test_a_safe_start_passes(tmp_path: Path):
    access = open_access(tmp_path / "access.sqlite", secure=True)
    add_person(access, "ada", PASSWORD, Role.VIEWER)

    check_start("0.0.0.0", access=access, hosts=("plant.example",))
    check_start("127.0.0.1", access=None, hosts=LOCAL_HOSTS)
    check_start(
        "10.1.2.3", access=open_access(tmp_path / "access.sqlite"), hosts=("p",), insecure=True
    )
