"""Callbacks asked over HTTP: right answers to the pages, refusals to anything else."""

import copy
import json
import random

import pytest
from asked import body_of
from dash import Dash
from flask.testing import FlaskClient
from sample import sample_findings
from small_logs import small_logs

from dashboard.accepting import order_key
from dashboard.app import build_app
from dashboard.jobs.worker import Worker

HEADERS = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:8050"}


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    return build_app(sample_findings(positions=12)).server.test_client()


def page_body(path: object = "/early", search: object = "") -> dict[str, object]:
    return {
        "output": "..body.children...navigation.children...title.data..",
        "outputs": [
            {"id": "body", "property": "children"},
            {"id": "navigation", "property": "children"},
            {"id": "title", "property": "data"},
        ],
        "inputs": [
            {"id": "address", "property": "pathname", "value": path},
            {"id": "address", "property": "search", "value": search},
        ],
        "changedPropIds": ["address.pathname"],
        "state": [{"id": "shown", "property": "data", "value": None}],
    }


def rows_body(request: object, table: object = "lives") -> dict[str, object]:
    name = {"table": table}
    return {
        "output": '..{"table":["MATCH"]}.getRowsResponse'
        '...{"said":"size","table":["MATCH"]}.children..',
        "outputs": [
            {"id": name, "property": "getRowsResponse"},
            {"id": name | {"said": "size"}, "property": "children"},
        ],
        "inputs": [{"id": name, "property": "getRowsRequest", "value": request}],
        "changedPropIds": ['{"table":"lives"}.getRowsRequest'],
        "state": [
            {"id": "address", "property": "search", "value": ""},
            {"id": name, "property": "id", "value": name},
        ],
    }


def filters_body(values: object) -> dict[str, object]:
    def controls(prop: str) -> list[dict[str, object]]:
        return [
            {"id": {"filter": name}, "property": prop, "value": value if prop == "value" else name}
            for name, value in zip(("site", "from"), values, strict=True)
        ]

    names = [
        {"id": {"filter": name}, "property": "id", "value": {"filter": name}}
        for name in ("site", "from")
    ]
    return {
        "output": "address.search",
        "outputs": {"id": "address", "property": "search"},
        "inputs": [controls("value")],
        "changedPropIds": ['{"filter":"site"}.value'],
        "state": [names, {"id": "address", "property": "search", "value": ""}],
    }


def post(client: FlaskClient, body: object):
    return client.post("/_dash-update-component", data=json.dumps(body), headers=HEADERS | JSON)


JSON = {"Content-Type": "application/json"}


def test_pages_ask_and_are_answered(client: FlaskClient):
    shown = post(client, page_body("/storeroom")).get_json()["response"]

    assert shown["title"]["data"] == "Storeroom - discward"
    assert "What to order this week?" in json.dumps(shown["body"])


def test_long_tables_ask_and_are_answered(client: FlaskClient):
    answer = post(client, rows_body({"startRow": 0, "endRow": 5})).get_json()["response"]

    assert len(answer['{"table":"lives"}']["getRowsResponse"]["rowData"]) == 5


def test_filters_are_written_into_the_address(client: FlaskClient):
    answer = post(client, filters_body([["Millbank"], "2020"])).get_json()["response"]

    assert answer["address"]["search"] == "?site=Millbank&from=2020"


def test_filters_put_up_anew_leave_the_address_as_it_is(client: FlaskClient):
    both = {"changedPropIds": ['{"filter":"site"}.value', '{"filter":"from"}.value']}

    answer = post(client, filters_body([["Millbank"], "2020"]) | both)
    assert answer.get_json()["response"] == {}


@pytest.mark.parametrize("path", ["/position/%00", "/case/" + "x" * 5000, "/\ud800", "//", 7, None])
def test_any_address_gets_a_page(client: FlaskClient, path: object):
    assert post(client, page_body(path)).status_code == 200


@pytest.mark.parametrize(
    "body", [None, 7, [], "x", {}, {"output": "x.y"}, {"output": 3}, page_body() | {"inputs": []}]
)
def test_what_no_page_sends_is_refused(client: FlaskClient, body: object):
    assert post(client, body).status_code == 400


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Dash:
    """A dashboard with every page: it records, mends, accepts and runs jobs."""
    return build_app(
        sample_findings(positions=12), logs=small_logs(tmp_path_factory.mktemp("fuzzed") / "logs")
    )


VALUES = {
    "n_clicks": 1,
    "n_intervals": 3,
    "record.data": {"form": "installs", "name": None},
    "record.name": "lot",
    "record.value": "L7",
    "accept.name": order_key("ST-N", "FS-100-06"),
    "accepted.name": order_key("ST-N", "FS-100-06"),
    "search": "?site=Millbank",
    "pathname": "/intervals",
    "getRowsRequest": {"startRow": 0, "endRow": 5},
    "table.name": "lives",
}
"""What the pages send, by property."""


def test_every_callback_answers_what_its_page_sends(whole: Dash, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(Worker, "start", lambda *_, **__: False)
    client = whole.server.test_client()
    for output, callback in whole.callback_map.items():
        answer = post(client, body_of(whole, output, VALUES))
        wanted = (200, 204) if "callback" in callback else (400,)  # it runs in the browser
        assert answer.status_code in wanted, (output, answer.status_code)


@pytest.mark.parametrize("bodies", [300, pytest.param(10_000, marks=pytest.mark.study)])
def test_no_fuzzed_body_breaks_the_server(
    whole: Dash, bodies: int, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(Worker, "start", lambda *_, **__: False)  # jobs have tests of their own
    client, rng = whole.server.test_client(), random.Random(11)
    valid = [
        page_body(),
        page_body("/position/P-003", "?site=Millbank"),
        rows_body({"startRow": 0, "endRow": 5, "sortModel": [], "filterModel": {}}),
        filters_body([["Millbank"], "2020"]),
        *(body_of(whole, output, VALUES) for output in whole.callback_map),
    ]
    seen, asked = set(), set()
    for _ in range(bodies):
        body = copy.deepcopy(rng.choice(valid))
        for _ in range(rng.randint(1, 3)):
            body = spoiled(rng, body)
        answer = post(client, body)
        asked.add(str(body.get("output")) if isinstance(body, dict) else "")
        seen.add(answer.status_code)
        assert answer.status_code < 500, json.dumps(body)
        assert "Traceback" not in answer.get_data(as_text=True)

    assert {200, 400} <= seen
    assert whole.callback_map.keys() <= asked


FORMS = (
    ("/mend/now/installs/2?file=installs.csv", ("cell0", "cell1", "cell2", "cell3", "why")),
    ("/login", ("name", "password")),
    ("/bring", ("files",)),
    ("/bring/20240101-abcdef/mapping", ("mapping",)),
)


@pytest.mark.parametrize("forms", [60, pytest.param(2_000, marks=pytest.mark.study)])
def test_no_fuzzed_form_breaks_the_server(whole: Dash, forms: int):
    client, rng = whole.server.test_client(), random.Random(12)
    for _ in range(forms):
        address, fields = rng.choice(FORMS)
        data = {rng.choice(fields): rng.choice(TEXTS) for _ in range(rng.randint(0, len(fields)))}
        answer = client.post(address, data=data, headers=HEADERS)
        assert answer.status_code < 500, (address, data)
        assert "Traceback" not in answer.get_data(as_text=True)


TEXTS = ("", "x" * 5_000, "\x00", "\r\n\r\n", "<script>", "=1+1", "../..", "%s%n", "é", "[[", '"')


JUNK = (None, True, -1, 1e308, "", "\ud800", "x" * 300, [], {}, [[]], {"a": 1}, "<script>", "..")


def spoiled(rng: random.Random, value: object) -> object:
    """Replace, drop or double one part of a JSON value, anywhere in it."""
    if isinstance(value, dict) and value and rng.random() < 0.85:
        key = rng.choice(list(value))
        if rng.random() < 0.15:
            return {name: part for name, part in value.items() if name != key}
        return value | {key: spoiled(rng, value[key])}
    if isinstance(value, list) and value and rng.random() < 0.85:
        place = rng.randrange(len(value))
        middle = [value[place]] * 2 if rng.random() < 0.15 else [spoiled(rng, value[place])]
        return [*value[:place], *middle, *value[place + 1 :]]
    return rng.choice(JUNK)
