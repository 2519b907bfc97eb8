"""The routes under /mend: a plain page per row set aside, so that nothing needs a script."""

from collections.abc import Callable
from functools import partial
from html import escape
from pathlib import Path
from urllib.parse import urlencode

from flask import Flask, Response, abort, make_response, request

from analytics.errors import DiscwardError
from dashboard.access.door import person
from dashboard.changes import Kind, author, note_change
from dashboard.live import Live
from dashboard.mending.row import Aside, look_at, retry
from dashboard.plain import plain_page, plain_table

__all__ = ["mend_address", "offer_mending"]

Folder = Callable[[str], Path | None]
"""Gives the log folder of the first part of an address; None when there is none."""


def mend_address(where: str, table: str, file: str, line: int) -> str:
    """Give the address of a row's mending page."""
    return f"/mend/{where}/{table}/{line}?{urlencode({'file': file})}"


def offer_mending(server: Flask, live: Live, folder_of: Folder, *, notes: Path) -> None:
    """Let rows that were set aside be mended and retried; `notes` keeps who did."""
    rule = "/mend/<where>/<table>/<int:line>"
    server.add_url_rule(rule, "look_at_row", partial(_show, folder_of))
    server.add_url_rule(
        rule, "retry_row", partial(_retry, folder_of, live, notes), methods=["POST"]
    )


def _show(folder_of: Folder, where: str, table: str, line: int) -> Response:
    row = _row(_folder(folder_of, where), table, line)
    if isinstance(row, str):
        return _page("", f'<p class="stop">{escape(row)}</p>', status=404)
    return _page(_form(row), _why(row))


def _retry(
    folder_of: Folder, live: Live, notes: Path, where: str, table: str, line: int
) -> Response:
    folder = _folder(folder_of, where)
    row = _row(folder, table, line)
    if isinstance(row, str):
        return _page("", f'<p class="stop">{escape(row)}</p>', status=404)
    cells = [request.form.get(f"cell{number}", "") for number in range(len(row.header))]
    by, why = person() or "this machine", request.form.get("why", "").strip()
    try:
        after, changed = retry(folder, row, cells, by=by, why=why)
    except DiscwardError as error:
        return _page(_form(row), f'<p class="stop">{escape(str(error))}</p>', status=400)
    if changed:
        what = f"mended {row.file} line {row.line}: {changed}" + (f" ({why})" if why else "")
        who = author(live.findings, by, account=person())
        note_change(notes, Kind.CORRECTION, what, who)
    return _page(_form(after), _outcome(after, changed))


def _row(folder: Path, table: str, line: int) -> Aside | str:
    try:
        return look_at(folder, table, request.args.get("file", ""), line)
    except DiscwardError as error:
        return str(error)


def _folder(folder_of: Folder, where: str) -> Path:
    folder = folder_of(where)
    if folder is None:
        abort(404, "There are no such logs.")
    return folder


def _why(row: Aside) -> str:
    if row.refused.empty:
        return '<p class="go">This row is accepted.</p>'
    return "<p>This row was set aside. Mend the cell and check it again.</p>"


def _outcome(after: Aside, changed: str) -> str:
    if after.refused.empty:
        return (
            '<p class="go" role="status">Accepted. The row joins the rest at the next reading:'
            ' <a href="/logs">read the logs again</a>.</p>'
        )
    if not changed:
        return '<p class="stop" role="status">Nothing was changed; the row stays set aside.</p>'
    return '<p class="stop" role="status">Kept, but still set aside, for the reason below.</p>'


def _form(row: Aside) -> str:
    reasons = ""
    if len(row.refused):
        shown = row.refused[["column", "value", "reason", "required", "mend"]]
        shown = shown.assign(reason=shown["reason"].str.replace("_", " "))
        reasons = plain_table(shown, "Why it was set aside")
    cells = "".join(
        f'<p{" class=bad" if number in row.bad else ""}><label for="cell{number}">{escape(name)}'
        f"</label><br>{_input(number, text)}</p>"
        for number, (name, text) in enumerate(zip(row.header, row.cells, strict=True))
    )
    return (
        f'<section class="part"><h2>{escape(row.file)}, line {row.line}</h2>{reasons}'
        f'<p class="note">As it stands in the file, which is not changed:</p>'
        f'<pre class="scrolled" tabindex="0">{escape(row.raw)}</pre>'
        f'<form method="post"><div class="cells">{cells}</div>'
        '<p><label for="why">Why</label><br><input id="why" name="why" maxlength="500"></p>'
        '<p class="editors"><button class="act" type="submit">Check it again</button></p></form>'
        "</section>"
    )


def _input(number: int, text: str) -> str:
    name = f'id="cell{number}" name="cell{number}"'
    if "\n" in text:
        # A text of several lines keeps them; a browser drops the first line end after the tag.
        return f"<textarea {name} rows=3>\n{escape(text)}</textarea>"
    return f'<input {name} value="{escape(text)}">'


def _page(body: str, said: str, *, status: int = 200) -> Response:
    return make_response(plain_page("Mend a row", body, said), status)
