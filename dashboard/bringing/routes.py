"""The routes under /bring: plain pages, so that files stream and nothing needs a script."""

from collections.abc import Callable
from functools import partial
from html import escape
from pathlib import Path

import pandas as pd
from flask import Flask, Response, abort, make_response, redirect, request

from analytics.errors import InputError
from analytics.job import run
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
from dashboard.jobs.worker import Worker
from dashboard.live import Live
from dashboard.sentences import CAUTION
from dashboard.words import count

__all__ = ["offer_bringing"]

LARGEST = 300 * 1024 * 1024
_SHOWN = 200
_PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Bring your own logs - discward</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/assets/look.css"></head><body>
<header class="top"><div class="name"><strong>discward</strong></div>
<nav aria-label="Pages"><a href="/">Now</a><a href="/logs">Logs' health</a></nav></header>
<main id="content"><section class="answer"><h1>Bring your own logs</h1>{said}</section>{body}</main>
<footer><p><strong>Caution.</strong> {caution}</p></footer></body></html>"""
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


def offer_bringing(server: Flask, live: Live, worker: Worker, place: Path) -> None:
    """Let files be brought into folders under `place`, settled, checked and run."""
    rules: tuple[tuple[str, str, Callable[..., Response], list[str]], ...] = (
        ("/bring", "ask", _ask, ["GET"]),
        ("/bring", "bring", partial(_bring, place), ["POST"]),
        ("/bring/templates.zip", "templates", _templates, ["GET"]),
        ("/bring/<number>", "settle", partial(_settle, place), ["GET"]),
        ("/bring/<number>/mapping", "mapping", partial(_mapping, place), ["POST"]),
        ("/bring/<number>/run", "run", partial(_run, place, live, worker), ["POST"]),
    )
    server.before_request(_allow_large)
    for rule, name, action, methods in rules:
        server.add_url_rule(rule, name, action, methods=methods)


def _allow_large() -> None:
    if request.path == "/bring" and request.method == "POST":
        request.max_content_length = LARGEST


def _ask() -> Response:
    return _page("<p>The logs are read here, on this machine; nothing leaves it.</p>", _ASK)


def _bring(place: Path) -> Response:
    try:
        number = keep(place, request.files.getlist("files"))
    except InputError as error:
        return _page(f'<p class="stop">{escape(str(error))}</p>', _ASK, status=400)
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
    body = _SETTLE.format(number=number, mapping=mapping) + _check_part(checked)
    if not checked.problem:
        body += _RUN.format(number=number)
    files = ", ".join(sorted(path.name for path in folder.iterdir()))
    return _page(f"<p>Brought: {escape(files)}.</p>", body)


def _mapping(place: Path, number: str) -> Response:
    folder = _folder(place, number)
    try:
        save_mapping(folder, request.form.get("mapping", ""))
    except InputError as error:
        return _page(f'<p class="stop">{escape(str(error))}</p>', "", status=400)
    return redirect(f"/bring/{number}")


def _run(place: Path, live: Live, worker: Worker, number: str) -> Response:
    folder = _folder(place, number)

    def action(say: Callable[[str], None]) -> None:
        live.show(run(folder, tell=say))

    worker.start(f"run the job on {number}", action, by=person() or "this machine")
    return redirect("/logs")


def _folder(place: Path, number: str) -> Path:
    folder = named(place, number)
    if folder is None:
        abort(404, "There are no such files.")
    return folder


def _check_part(checked: Checked) -> str:
    if checked.rows is None or checked.quarantine is None:
        said = f'<p class="stop">{escape(checked.problem)}</p>'
        return f'<section class="part"><h2>3. What the rows came to</h2>{said}</section>'
    aside = checked.quarantine
    tables = _table(checked.rows, "Rows per table")
    if len(aside):
        shown = aside.head(_SHOWN)[["file", "line", "column", "value", "reason", "mend"]]
        tables += _table(shown, "Rows set aside")
        if len(aside) > _SHOWN:
            tables += (
                f'<p class="note">{count(len(aside) - _SHOWN, "more entry", "more entries")}.</p>'
            )
    return f'<section class="part"><h2>3. What the rows came to</h2>{tables}</section>'


def _table(rows: pd.DataFrame, name: str) -> str:
    head = "".join(f'<th scope="col">{escape(str(title))}</th>' for title in rows)
    body = "".join(
        f"<tr>{''.join(f'<td>{escape(str(cell))}</td>' for cell in row)}</tr>"
        for row in rows.fillna("").astype(str).itertuples(index=False)
    )
    return (
        f'<div class="scrolled" tabindex="0" role="region" aria-label="{name}"><table>'
        f"<caption>{name}</caption><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _page(said: str, body: str, *, status: int = 200) -> Response:
    return make_response(_PAGE.format(said=said, body=body, caution=escape(CAUTION)), status)
