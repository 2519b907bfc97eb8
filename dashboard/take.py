"""The routes under /take: every table as a file."""

from collections.abc import Callable

from flask import Flask, Response, abort, request

from dashboard.export import SUFFIXES, file_of
from dashboard.table_list import TABLES
from dashboard.tables import shown
from dashboard.view import View

__all__ = ["offer_tables"]


def offer_tables(server: Flask, look: Callable[[str | None], View]) -> None:
    """Let every table be fetched as `/take/<table>.<csv or xlsx>` under the selection."""

    def take(key: str, suffix: str) -> Response:
        if key not in TABLES or suffix not in SUFFIXES:
            abort(404, "There is no such table.")
        view, table = look(request.query_string.decode("utf-8", "replace")), TABLES[key]
        rows = shown(table, table.rows(view.findings), view.units, view.currency)
        response = Response(file_of(rows, suffix), content_type=SUFFIXES[suffix])
        response.headers["Content-Disposition"] = f'attachment; filename="{key}.{suffix}"'
        return response

    server.add_url_rule("/take/<key>.<suffix>", "take", take)
