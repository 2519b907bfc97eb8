"""The gate: only asked by its own name, only written to by its own pages, sealed answers."""

import os

import pytest
from flask.testing import FlaskClient
from sample import sample_findings

from analytics.errors import InputError
from dashboard.app import build_app, serve
from dashboard.gate import LARGEST_BODY

HOME = "127.0.0.1:8050"
OWN = f"http://{HOME}"


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return build_app(sample_findings()).server.test_client()


@pytest.mark.parametrize("host", [HOME, "localhost:8050", "[::1]:8050", "LOCALHOST"])
def test_its_own_names_are_answered(client: FlaskClient, host: str):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["example.org", "127.0.0.1.example.org", "127.0.0.1@example.org", "10.0.0.5:8050", "[::2]"],
)
@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/take/lives.csv", "/assets/look.css"])
def test_any_other_name_is_refused_on_every_route(client: FlaskClient, host: str, path: str):
    assert client.get(path, headers={"Host": host}).status_code == 421


@pytest.mark.parametrize(
    ("origin", "site", "passes"),
    [
        (OWN, "same-origin", True),
        (OWN, None, True),
        (None, None, False),
        ("null", None, False),
        ("http://127.0.0.1:9999", None, False),
        ("https://127.0.0.1:8050", None, False),
        ("http://example.org", None, False),
        (OWN, "cross-site", False),
        (OWN, "same-site", False),
    ],
)
def test_only_its_own_pages_may_write(
    client: FlaskClient, origin: str | None, site: str | None, passes: bool
):
    headers = {"Host": HOME}
    headers |= {"Origin": origin} if origin else {}
    headers |= {"Sec-Fetch-Site": site} if site else {}
    answer = client.post("/_dash-update-component", json=PAGE, headers=headers)

    assert (answer.status_code == 200) is passes
    assert passes or answer.status_code == 403


PAGE = {
    "output": "..body.children...navigation.children...title.data..",
    "outputs": [
        {"id": "body", "property": "children"},
        {"id": "navigation", "property": "children"},
        {"id": "title", "property": "data"},
    ],
    "inputs": [
        {"id": "address", "property": "pathname", "value": "/help"},
        {"id": "address", "property": "search", "value": ""},
    ],
    "changedPropIds": ["address.pathname"],
    "state": [{"id": "shown", "property": "data", "value": None}],
}


@pytest.mark.parametrize("path", ["/", "/take/lives.csv", "/take/none.csv", "/assets/look.css"])
def test_every_answer_is_sealed(client: FlaskClient, path: str):
    with client.get(path, headers={"Host": HOME}) as answer:
        headers = answer.headers
    policy = headers["Content-Security-Policy"]

    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert "default-src 'none'" in policy
    scripts = next(part for part in policy.split("; ") if part.startswith("script-src"))
    assert "unsafe" not in scripts
    assert "http" not in policy


def test_a_refusal_is_sealed_too(client: FlaskClient):
    assert "Content-Security-Policy" in client.get("/", headers={"Host": "example.org"}).headers


def test_too_large_a_body_is_refused(client: FlaskClient):
    answer = client.post(
        "/_dash-update-component",
        data=b"x" * (LARGEST_BODY + 1),
        headers={"Host": HOME, "Origin": OWN, "Content-Type": "application/json"},
    )

    assert answer.status_code == 413


def test_switches_in_the_environment_are_forced_off(monkeypatch: pytest.MonkeyPatch):
    for switch in ("DASH_DEBUG", "DASH_MCP_ENABLED", "DASH_HOT_RELOAD"):
        monkeypatch.setenv(switch, "true")
    app = build_app(sample_findings(positions=6))

    assert "DASH_DEBUG" not in os.environ
    assert not app.server.debug
    assert not [str(rule) for rule in app.server.url_map.iter_rules() if "mcp" in str(rule)]


@pytest.mark.parametrize("host", ["0.0.0.0", "10.1.2.3", "::", "example.org", ""])
def test_it_is_not_served_beyond_this_machine(host: str):
    with pytest.raises(InputError, match="needs people who log in|must be named"):
        serve(build_app(sample_findings(positions=6)), host=host, port=0)


def test_unknown_files_are_not_there(client: FlaskClient):
    for path in ("/take/lives.exe", "/take/passwd.csv", "/assets/../app.py"):
        assert client.get(path, headers={"Host": HOME}).status_code == 404


def test_a_table_under_a_filter_is_taken_as_filtered(client: FlaskClient):
    answer = client.get("/take/lives.csv?site=Millbank", headers={"Host": HOME})
    lines = answer.get_data(as_text=True).splitlines()

    assert answer.headers["Content-Disposition"] == 'attachment; filename="lives.csv"'
    assert len(lines) > 10
    assert all(",Millbank," in line for line in lines[1:])
