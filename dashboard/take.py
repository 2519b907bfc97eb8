"""The routes under /take: every table as a file, and the report."""

from collections.abc import Callable

from flask import Flask, Response, abort, request

from dashboard.export import SUFFIXES, file_of
from dashboard.report import report_html
from dashboard.table_list import TABLES
from dashboard.tables import shown
from dashboard.view import View

__all__ = ["REPORT", "offer_tables"]

REPORT = ("report", "html")
"""Name and ending of the report for the meeting."""


def offer_tables(server: Flask, look: Callable[[str | None], View]) -> None:
    """Let every table be fetched as `/take/<table>.<csv or xlsx>` under the selection.

    The report of the whole fleet stands among them as `/take/report.html`. It is a file to
    keep, never a page of the dashboard, whose content policy runs no script but its own.
    """

    def take(key: str, suffix: str) -> Response:
        view = look(request.query_string.decode("utf-8", "replace"))
        if (key, suffix) == REPORT:
            return _attached(report_html(view.whole), "text/html; charset=utf-8", key, suffix)
        if key not in TABLES or suffix not in SUFFIXES:
            abort(404, "There is no such table.")
        table = TABLES[key]
        rows = shown(table, table.rows(view.findings), view.units, view.currency)
        return _attached(file_of(rows, suffix), SUFFIXES[suffix], key, suffix)

    server.add_url_rule("/take/<key>.<suffix>", "take", take)


def _attached(body: bytes | str, kind: str, key: str, suffix: str) -> Response:
    response = Response(body, content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{key}.{suffix}"'
    return response
