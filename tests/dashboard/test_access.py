"""Who comes in: people, sessions, the door before every route, and safe starts only."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from asked import body_of
from flask.testing import FlaskClient
from sample import sample_findings
from small_logs import small_logs

from analytics.errors import InputError
from dashboard.access.door import COOKIE
from dashboard.access.needs import CALLBACKS, ROUTES
from dashboard.access.people import (
    Access,
    Role,
    add_person,
    change_password,
    change_role,
    knows,
    list_people,
    open_access,
    remove_person,
)
from dashboard.access.sessions import begin, end, end_all, one_time_token, redeem, session_of
from dashboard.app import build_app
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
        lambda held: change_password(access, "ada", PASSWORD + "!"),
        lambda held: change_role(access, "ada", Role.EDITOR),
        lambda held: remove_person(access, "ada"),
    ):
        held = begin(access, "ada", Role.VIEWER)
        assert session_of(access, held)
        ending(held)
        assert session_of(access, held) is None


def test_people_are_added_once_changed_and_listed(access: Access):
    add_person(access, "ada", PASSWORD, Role.VIEWER)
    with pytest.raises(InputError, match="is there already"):
        add_person(access, "ada", PASSWORD, Role.ADMIN)
    begin(access, "ada", Role.VIEWER)
    assert [(p.name, p.role, p.sessions) for p in list_people(access)] == [("ada", Role.VIEWER, 1)]

    change_role(access, "ada", Role.EDITOR)
    change_password(access, "ada", "another " + PASSWORD)
    assert knows(access, "ada", PASSWORD) is None
    assert knows(access, "ada", "another " + PASSWORD) is Role.EDITOR
    for change in (
        lambda: change_role(access, "bob", Role.ADMIN),
        lambda: change_password(access, "bob", PASSWORD),
        lambda: remove_person(access, "bob"),
    ):
        with pytest.raises(InputError, match="there is no bob"):
            change()


def test_made_up_names_do_not_fill_the_file(access: Access):
    for number in range(3):
        knows(access, f"nobody {number}", PASSWORD, now=NOW)
    knows(access, "ada", PASSWORD, now=NOW + timedelta(hours=3))
    with access.engine.connect() as connection:
        assert connection.exec_driver_sql("select count(*) from guesses").scalar() == 1


def test_a_one_time_token_opens_once(access: Access):
    token = one_time_token(access)

    assert session_of(access, token) is None
    assert session_of(access, redeem(access, token)).role is Role.ADMIN
    assert redeem(access, token) is None


def test_a_one_time_token_grows_old(access: Access):
    token = one_time_token(access)

    assert redeem(access, token, now=datetime.now(UTC) + timedelta(minutes=16)) is None


FILL = {
    "filename": "look.css",
    "package_name": "dash",
    "fingerprinted_path": "x.js",
    "key": "lives",
    "suffix": "csv",
    "path": "early",
    "number": "20240101-abcdef",
    "where": "now",
    "table": "installs",
    "line": "2",
    "token": "x",
}
"""What stands for each part of a route; a part without one fails the test that needs it."""


def routes(app) -> list[tuple[str, str, str]]:
    """Every method, path and endpoint of the server's own map, but for those that let in."""
    asked = []
    for rule in app.server.url_map.iter_rules():
        path = re.sub(r"<(?:\w+:)?(\w+)>", lambda part: FILL[part[1]], str(rule))
        asked += [(method, path, rule.endpoint) for method in sorted(rule.methods - {"OPTIONS"})]
    return [
        one for one in asked if one[2] not in ("log_in", "enter") and one[1] != "/assets/look.css"
    ]


def test_every_route_and_every_callback_has_its_role(guarded):
    app, _ = guarded
    endpoints = {rule.endpoint for rule in app.server.url_map.iter_rules()}

    assert endpoints == ROUTES.keys() | {"log_in", "enter"}
    served = {output for output, each in app.callback_map.items() if "callback" in each}
    assert served == CALLBACKS.keys()


def secret_of(kind: str, access: Access) -> str:
    secret = begin(access, "ada", Role.ADMIN, now=NOW if kind == "expired" else None)
    if kind == "revoked":
        end(access, secret)
    return {"none": "", "forged": "x" * 43, "a link": one_time_token(access)}.get(kind, secret)


@pytest.mark.parametrize("kind", ["none", "forged", "expired", "revoked", "a link", "alive"])
def test_no_route_opens_without_a_session(guarded, kind: str):
    app, access = guarded
    for method, path, _ in routes(app):
        client = app.server.test_client()
        if secret := secret_of(kind, access):
            client.set_cookie(COOKIE, secret, domain="127.0.0.1")
        body = sign_body() if path == "/_dash-update-component" else {}
        answer = client.open(
            path, method=method, headers=OWN, json=body if method == "POST" else None
        )
        refused = answer.status_code == 401
        assert refused is (kind != "alive"), (method, path, answer.status_code)
        assert not refused or b"P-00" not in answer.data


@pytest.mark.parametrize("kind", ["none", "forged", "expired", "revoked", "alive"])
def test_no_callback_answers_without_a_session(guarded, kind: str):
    app, access = guarded
    for output, role in CALLBACKS.items():
        client = app.server.test_client()
        if secret := secret_of(kind, access):
            client.set_cookie(COOKIE, secret, domain="127.0.0.1")
        answer = client.post("/_dash-update-component", json=body_of(app, output), headers=OWN)
        assert (answer.status_code == 401) is (kind != "alive"), (output, role, answer.status_code)


def test_only_the_role_for_it_opens_each_route_and_callback(guarded):
    app, _ = guarded
    for role in Role:
        for method, path, endpoint in routes(app):
            if method == "POST" and endpoint in ("log_out", "/_dash-update-component"):
                continue
            answer = entered(guarded, role).open(path, method=method, headers=OWN)
            assert (answer.status_code == 403) is (role < ROUTES[endpoint]), (method, path, role)
        for output, needs in CALLBACKS.items():
            answer = entered(guarded, role).post(
                "/_dash-update-component", json=body_of(app, output), headers=OWN
            )
            assert (answer.status_code == 403) is (role < needs), (output, role)


def entered(guarded, role: Role) -> FlaskClient:
    app, access = guarded
    client = app.server.test_client()
    client.set_cookie(COOKIE, begin(access, "ada", role), domain="127.0.0.1")
    return client


def sign_body() -> dict[str, object]:
    return {
        "output": "..record-said.children...record.data..",
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


def test_an_admin_sees_the_people_and_ends_sessions(guarded):
    app, access = guarded
    add_person(access, "<b>zoe", PASSWORD, Role.VIEWER)
    zoe = app.server.test_client()
    zoe.set_cookie(COOKIE, begin(access, "<b>zoe", Role.VIEWER), domain="127.0.0.1")
    admin = entered(guarded, Role.ADMIN)
    shown = admin.get("/people", headers=OWN).get_data(as_text=True)

    assert "<td>&lt;b&gt;zoe</td><td>viewer</td><td>1</td>" in shown
    assert zoe.get("/take/lives.csv", headers=OWN).status_code == 200
    assert admin.post("/people/revoke", data={"name": "nobody"}, headers=OWN).status_code == 404
    said = admin.post("/people/revoke", data={"name": "<b>zoe"}, headers=OWN).get_data(as_text=True)
    assert "The sessions of &lt;b&gt;zoe ended." in said
    assert zoe.get("/take/lives.csv", headers=OWN).status_code == 401


def test_logging_in_and_out(guarded):
    app, access = guarded
    add_person(access, "eve", PASSWORD, Role.VIEWER)
    client = app.server.test_client()
    form = {"name": "eve", "password": PASSWORD}
    html = HOST | {"Accept": "text/html"}
    assert client.get("/early?site=A", headers=html).headers["Location"] == (
        "/login?to=%2Fearly%3Fsite%3DA"
    )
    assert client.post("/login", data=form | {"password": "no"}, headers=OWN).status_code == 401

    answer = client.post("/login", data=form, headers=OWN)
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
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


@pytest.mark.parametrize("to", ["//example.org", "https://example.org", "/\\example.org", "x", ""])
def test_logging_in_leads_back_to_this_dashboard_only(guarded, to: str):
    app, access = guarded
    if "mia" not in {person.name for person in list_people(access)}:
        add_person(access, "mia", PASSWORD, Role.VIEWER)
    form = {"name": "mia", "password": PASSWORD}
    client = app.server.test_client()

    def lands(wanted: str) -> str:
        return client.post("/login", query_string={"to": wanted}, data=form, headers=OWN).headers[
            "Location"
        ]

    assert lands(to) == "/"
    assert lands("/early?site=A") == "/early?site=A"


def test_without_people_the_log_in_page_names_the_link(tmp_path: Path):
    access = open_access(tmp_path / "access.sqlite")
    client = build_app(sample_findings(positions=6), access=access).server.test_client()
    said = client.get("/login", headers=HOST).get_data(as_text=True)

    assert "discward people link" in said
    assert "password" not in said


def test_behind_tls_only_its_https_pages_may_write(tmp_path: Path):
    access = open_access(tmp_path / "access.sqlite", secure=True)
    add_person(access, "ada", PASSWORD, Role.VIEWER)
    app = build_app(sample_findings(positions=6), access=access, hosts=("discs.example",))
    form = {"name": "ada", "password": PASSWORD}
    host = {"Host": "discs.example"}
    client = app.server.test_client()

    plain = client.post("/login", data=form, headers=host | {"Origin": "http://discs.example"})
    sealed = client.post("/login", data=form, headers=host | {"Origin": "https://discs.example"})
    assert plain.status_code == 403
    assert sealed.status_code == 302
    assert "Secure" in sealed.headers["Set-Cookie"]


def test_a_safe_start_passes(tmp_path: Path):
    access = open_access(tmp_path / "access.sqlite", secure=True)
    check_start("127.0.0.1", access=access, hosts=LOCAL_HOSTS)
    add_person(access, "ada", PASSWORD, Role.VIEWER)

    check_start("0.0.0.0", access=access, hosts=("plant.example",))
    check_start("127.0.0.1", access=None, hosts=LOCAL_HOSTS, open_here=True)
    check_start(
        "10.1.2.3", access=open_access(tmp_path / "access.sqlite"), hosts=("p",), insecure=True
    )
