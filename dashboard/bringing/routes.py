"""The routes under /bring: plain pages, so that files stream and nothing needs a script."""

from collections.abc import Callable
from functools import partial
from html import escape
from pathlib import Path

from flask import Flask, Response, abort, make_response, redirect, request

from analytics.errors import InputError
from dashboard.access.door import person
from dashboard.bringing.folder import (
    Checked,
    check,
    keep,
    mapping_of,
    named,
    save_mapping,
    templates,
)
from dashboard.changes import Kind, author, note_change
from dashboard.jobs.work import bring
from dashboard.jobs.worker import Worker
from dashboard.live import Live
from dashboard.mending.routes import mend_address
from dashboard.plain import plain_page, plain_table
from dashboard.words import count

__all__ = ["offer_bringing"]

LARGEST = 300 * 1024 * 1024
_SHOWN = 200
_ASK = """<section class="part"><h2>1. Choose the files</h2>
<p class="note">One file or several per table, CSV, XLSX or Parquet: positions, discs, installs,
removals, stock, orders, turnarounds. Empty files to fill in: <a href="/bring/templates.zip"
download>templates</a>.</p>
<form method="post" action="/bring" enctype="multipart/form-data">
<p><label for="files">Log files</label><br><input id="files" type="file" name="files" multiple
required></p><p><button class="act" type="submit">Bring them</button></p></form></section>"""
_SETTLE = """<section class="part"><h2>2. Settle how the columns are read</h2>
<p class="note">Proposed from what the files show; nothing is guessed in silence. Lines behind
“# ?” are yours to settle.</p><form method="post" action="/bring/{number}/mapping">
<p><label for="mapping">Mapping (logs.toml)</label><br>
<textarea id="mapping" name="mapping" rows="18" spellcheck="false">{mapping}</textarea></p>
<p><button class="act quiet" type="submit">Save and check again</button></p></form></section>"""
_RUN = """<section class="part"><h2>4. Run the job on these logs</h2>
<p class="note">The pages then show these logs, until the dashboard is started anew. To keep them,
start discward on a folder that holds them.</p>
<form method="post" action="/bring/{number}/run"><p><button class="act" type="submit">Run the job
</button></p></form></section>"""


def offer_bringing(server: Flask, live: Live, worker: Worker, place: Path, *, notes: Path) -> None:
    """Let files be brought into folders under `place`, settled, checked and run.

    `notes` is the file that keeps who changed what.
    """
    rules: tuple[tuple[str, str, Callable[..., Response], list[str]], ...] = (
        ("/bring", "ask", _ask, ["GET"]),
        ("/bring", "bring", partial(_bring, place, live, notes), ["POST"]),
        ("/bring/templates.zip", "templates", _templates, ["GET"]),
        ("/bring/<number>", "settle", partial(_settle, place), ["GET"]),
        ("/bring/<number>/mapping", "mapping", partial(_mapping, place, live, notes), ["POST"]),
        ("/bring/<number>/run", "run", partial(_run, place, live, worker, notes), ["POST"]),
    )
    server.before_request(_allow_large)
    for rule, name, action, methods in rules:
        server.add_url_rule(rule, name, action, methods=methods)


def _allow_large() -> None:
    if request.path == "/bring" and request.method == "POST":
        request.max_content_length = LARGEST


def _ask() -> Response:
    return _page("<p>The logs are read here, on this machine; nothing leaves it.</p>", _ASK)


def _bring(place: Path, live: Live, notes: Path) -> Response:
    try:
        number = keep(place, request.files.getlist("files"))
    except InputError as error:
        return _page(f'<p class="stop">{escape(str(error))}</p>', _ASK, status=400)
    _note(notes, Kind.IMPORT, f"brought files as {number}", live)
    return redirect(f"/bring/{number}")


def _templates() -> Response:
    response = make_response(templates())
    response.headers["Content-Type"] = "application/zip"
    response.headers["Content-Disposition"] = 'attachment; filename="templates.zip"'
    return response


def _settle(place: Path, number: str) -> Response:
    folder = _folder(place, number)
    checked = check(folder)
    mapping = escape(mapping_of(folder))
    body = _SETTLE.format(number=number, mapping=mapping) + _check_part(number, checked)
    if not checked.problem:
        body += _RUN.format(number=number)
    files = ", ".join(sorted(path.name for path in folder.iterdir() if path.is_file()))
    return _page(f"<p>Brought: {escape(files)}.</p>", body)


def _mapping(place: Path, live: Live, notes: Path, number: str) -> Response:
    folder = _folder(place, number)
    try:
        save_mapping(folder, request.form.get("mapping", ""))
    except InputError as error:
        return _page(f'<p class="stop">{escape(str(error))}</p>', "", status=400)
    _note(notes, Kind.SETTING, f"settled the mapping of the logs brought as {number}", live)
    return redirect(f"/bring/{number}")


def _run(place: Path, live: Live, worker: Worker, notes: Path, number: str) -> Response:
    folder = _folder(place, number)

    work, account = bring(live, folder, number, notes), person()
    by = account or "this machine"
    worker.start(work.what, partial(work.act, by, account), by=by)
    return redirect("/logs")


def _note(notes: Path, kind: Kind, what: str, live: Live) -> None:
    account = person()
    by = account or "this machine"
    note_change(notes, kind, what, author(live.findings, by, account=account))


def _folder(place: Path, number: str) -> Path:
    folder = named(place, number)
    if folder is None:
        abort(404, "There are no such files.")
    return folder


def _check_part(number: str, checked: Checked) -> str:
    if checked.rows is None or checked.quarantine is None:
        said = f'<p class="stop">{escape(checked.problem)}</p>'
        return f'<section class="part"><h2>3. What the rows came to</h2>{said}</section>'
    aside = checked.quarantine
    tables = plain_table(checked.rows, "Rows per table")
    if len(aside):
        first = aside.head(_SHOWN)
        shown = first[["file", "line", "column", "value", "reason", "mend"]]
        links = [mend_address(number, row.table, row.file, row.line) for row in first.itertuples()]
        tables += plain_table(shown, "Rows set aside; each file name opens the row", links)
        if len(aside) > _SHOWN:
            tables += (
                f'<p class="note">{count(len(aside) - _SHOWN, "more entry", "more entries")}.</p>'
            )
    return f'<section class="part"><h2>3. What the rows came to</h2>{tables}</section>'


def _page(said: str, body: str, *, status: int = 200) -> Response:
    return make_response(plain_page("Bring your own logs", body, said), status)
