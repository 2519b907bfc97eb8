"""`discward people` and the starts: passwords asked for, unsafe starts refused with their mend."""

import re
import sys
from pathlib import Path

import pytest
from sample import sample_findings
from small_logs import small_logs

from dashboard.access.people import Role, add_person, knows, list_people
from dashboard.access.place import Place, access_of, people_file
from dashboard.access.start import admit, start
from dashboard.changes import changes_file, changes_of
from dashboard.command import main

PASSWORD = "correct horse battery"


@pytest.fixture
def logs(tmp_path: Path) -> Path:
    return small_logs(tmp_path / "logs")


@pytest.fixture
def discward(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def call(*words: object, typed: tuple[str, ...] = ()) -> tuple[int, str, str]:
        answers = iter(typed)
        monkeypatch.setattr("getpass.getpass", lambda _: next(answers))
        monkeypatch.setattr(sys, "argv", ["discward", *(str(word) for word in words)])
        with pytest.raises(SystemExit) as ended:
            main()
        printed = capsys.readouterr()
        return int(ended.value.code or 0), printed.out, printed.err

    return call


def test_people_are_added_listed_changed_and_removed(discward, logs: Path):
    twice = (PASSWORD, PASSWORD)
    assert discward("people", "list", logs)[1].startswith("nobody yet")
    assert discward("people", "add", logs, "ada", "--role", "editor", typed=twice)[0] == 0
    assert knows(access_of(logs), "ada", PASSWORD) is Role.EDITOR
    assert "ada: editor, 0 open sessions" in discward("people", "list", logs)[1]
    assert discward("people", "role", logs, "ada", "admin")[0] == 0
    assert discward("people", "password", logs, "ada", typed=("new " + PASSWORD,) * 2)[0] == 0
    assert knows(access_of(logs), "ada", "new " + PASSWORD) is Role.ADMIN
    assert discward("people", "revoke", logs, "ada")[0] == 0
    assert discward("people", "remove", logs, "ada")[0] == 0
    assert list_people(access_of(logs)) == []

    noted = changes_of(changes_file(logs))
    assert noted["what"].tolist()[::-1] == [
        "added ada as editor",
        "made ada admin",
        "gave ada another password",
        "ended the sessions of ada",
        "removed ada",
    ]
    assert set(noted["kind"]) == {"people"}
    assert noted["by"].ne("").all()
    assert PASSWORD not in changes_file(logs).read_text()


@pytest.mark.parametrize(
    ("words", "typed", "said"),
    [
        (("add", "ada"), (PASSWORD, "another one of these"), "must be the same"),
        (("add", "ada"), ("short", "short"), "at least 12"),
        (("role", "bob", "admin"), (), "there is no bob"),
        (("password", "bob"), (), "there is no bob"),
        (("revoke", "bob"), (), "there is no bob"),
        (("remove", "bob"), (), "there is no bob"),
    ],
)
def test_what_cannot_be_done_to_people_is_one_line(
    discward, logs: Path, words: tuple[str, ...], typed: tuple[str, ...], said: str
):
    code, _, err = discward("people", words[0], logs, *words[1:], typed=typed)

    assert code == 2
    assert said in err
    assert len(err.strip().splitlines()) == 1
    assert list_people(access_of(logs)) == []


def test_no_option_takes_a_password(discward, logs: Path):
    assert "password" not in discward("people", "add", "--help")[1].lower().replace(
        "the password is asked for", ""
    )


def test_the_list_of_people_is_its_owners_alone(logs: Path):
    access_of(logs)

    assert people_file(logs).stat().st_mode & 0o077 == 0


def started(logs: Path, place: Place, monkeypatch: pytest.MonkeyPatch) -> tuple[str, object]:
    """What a start tells, and the app it would serve."""
    told, served = [], []
    monkeypatch.setattr("dashboard.access.start.serve", lambda app, *_, **__: served.append(app))
    start(sample_findings(positions=6), logs, place, admit(logs, place), told.append)
    return told[0], served[0]


def test_a_start_prints_a_link_that_lets_one_browser_in_once(
    logs: Path, monkeypatch: pytest.MonkeyPatch
):
    said, app = started(logs, Place(), monkeypatch)
    token = re.search(r"http://127\.0\.0\.1:8050(/enter/\S+)", said)[1]
    host = {"Host": "127.0.0.1:8050"}
    first, second = app.server.test_client(), app.server.test_client()

    assert first.get("/take/lives.csv", headers=host).status_code == 401
    assert first.get(token, headers=host).status_code == 302
    assert first.get("/take/lives.csv", headers=host).status_code == 200
    assert second.get(token, headers=host).status_code == 401


def test_with_people_no_link_is_printed(logs: Path, monkeypatch: pytest.MonkeyPatch):
    add_person(access_of(logs), "ada", PASSWORD, Role.VIEWER)

    assert "/enter/" not in started(logs, Place(), monkeypatch)[0]


def test_an_open_start_says_so(logs: Path, monkeypatch: pytest.MonkeyPatch):
    said, app = started(logs, Place(open_here=True), monkeypatch)

    assert "OPEN: anybody and any program on this machine" in said
    assert app.server.test_client().get("/", headers={"Host": "127.0.0.1"}).status_code == 200


def test_another_link_is_printed_for_a_running_dashboard(discward, logs: Path):
    code, out, _ = discward("people", "link", logs, "--port", 9000, "--role", "viewer")

    assert code == 0
    assert re.fullmatch(r"http://127\.0\.0\.1:9000/enter/[\w-]{43}\n", out)


TLS, NAME = "--behind-tls", ("--asked-by", "discs.plant.example")
NAKED = [
    ("--host", "0.0.0.0"),
    ("--host", "::"),
    ("--host", "10.1.2.3"),
    ("--host", "discs.plant.example"),
    ("--host", "0.0.0.0", "--insecure"),
    ("--host", "0.0.0.0", TLS),
    ("--host", "0.0.0.0", TLS, *NAME),
    ("--host", "0.0.0.0", "--open"),
    ("--host", "10.1.2.3", "--open", "--insecure"),
    ("--host", ""),
    ("--host", " "),
    ("--host", "127.0.0.1.example", TLS),
]
PEOPLED = [
    ("--host", "0.0.0.0"),
    ("--host", "0.0.0.0", *NAME),
    ("--host", "10.1.2.3", *NAME),
    ("--host", "0.0.0.0", TLS),
    ("--host", "0.0.0.0", "--insecure"),
    ("--host", "0.0.0.0", TLS, "--asked-by", "*"),
    ("--host", "0.0.0.0", TLS, "--asked-by", "https://discs.plant.example"),
    ("--host", "0.0.0.0", TLS, "--asked-by", "127.0.0.1"),
    ("--host", "0.0.0.0", TLS, "--asked-by", ""),
    ("--host", "0.0.0.0", TLS, *NAME, "--open"),
]
MENDS = r"people add|--behind-tls|--insecure|--asked-by|127\.0\.0\.1 serves|leave --open out"


@pytest.mark.parametrize(
    ("words", "peopled"),
    [*((words, False) for words in NAKED), *((words, True) for words in PEOPLED)],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "people" * value or "nobody",
)
def test_an_unsafe_start_is_refused_with_its_mend(
    discward, logs: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], peopled: bool
):
    def never(*_: object, **__: object) -> None:
        raise AssertionError("an unsafe start went on to work")

    monkeypatch.setattr("dashboard.command._run", never)
    if peopled:
        add_person(access_of(logs), "ada", PASSWORD, Role.VIEWER)
    code, _, err = discward("serve", logs, *words)

    assert code == 2
    assert re.search(MENDS, err)
    assert len(err.strip().splitlines()) == 1


def test_a_safe_start_goes_on_to_work(discward, logs: Path, monkeypatch: pytest.MonkeyPatch):
    served = []
    monkeypatch.setattr("dashboard.command._run", lambda *_: sample_findings(positions=6))
    monkeypatch.setattr("dashboard.access.start.serve", lambda *given, **_: served.append(given))
    add_person(access_of(logs), "ada", PASSWORD, Role.VIEWER)

    assert discward("serve", logs, "--host", "0.0.0.0", TLS, *NAME)[0] == 0
    assert discward("serve", logs)[0] == 0
    assert [given[1] for given in served] == ["0.0.0.0", "127.0.0.1"]


def test_a_port_that_is_taken_is_one_line(discward, logs: Path, monkeypatch: pytest.MonkeyPatch):
    def taken(*_: object, **__: object) -> None:
        raise OSError(98, "Address already in use")

    monkeypatch.setattr("dashboard.command._run", lambda *_: sample_findings(positions=6))
    monkeypatch.setattr("waitress.serve", taken)
    code, _, err = discward("serve", logs)

    assert code == 2
    assert "give another --port" in err
