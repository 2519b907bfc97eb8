"""Show who changed what, and give the whole list as a file."""

from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, html
from flask import Flask, Response, abort

from dashboard import ids
from dashboard.changes import COLUMNS, changes_of
from dashboard.components.blocks import message
from dashboard.export import SUFFIXES, file_of

__all__ = ["change_list", "wire_changes"]

_SHOWN = 30


def wire_changes(app: Dash, server: Flask, notes: Path) -> None:
    """Connect the list of changes on the logs' page to the file that keeps them."""

    @app.callback(Output(ids.CHANGES, "children"), Input(ids.CHANGES_TICK, "n_intervals"))
    def show_changes(_ticks: Any) -> Any:
        """Show the last changes."""
        return change_list(notes)

    def take(suffix: str) -> Response:
        if suffix not in SUFFIXES:
            abort(404, "There is no such file.")
        rows = changes_of(notes).rename(columns=COLUMNS)
        response = Response(file_of(rows, suffix), content_type=SUFFIXES[suffix])
        response.headers["Content-Disposition"] = f'attachment; filename="changes.{suffix}"'
        return response

    server.add_url_rule("/changes.<suffix>", "changes", take)


def change_list(notes: Path) -> html.Div:
    """Show the last changes, newest first, and the way to all of them."""
    rows = changes_of(notes)
    if rows.empty:
        return html.Div(message("Nothing was changed here so far."))
    head = html.Tr([html.Th(name, scope="col") for name in COLUMNS.values()])
    body = [
        html.Tr(
            [html.Td(row["at"].replace("T", " ")[:19], className="unbroken")]
            + [html.Td(row[key]) for key in list(COLUMNS)[1:]]
        )
        for row in rows.head(_SHOWN).to_dict("records")
    ]
    links = [
        html.A(suffix.upper(), href=f"/changes.{suffix}", download=f"changes.{suffix}")
        for suffix in SUFFIXES
    ]
    return html.Div(
        [
            html.Table([html.Thead(head), html.Tbody(body)]),
            html.P([f"{len(rows):,} in all. Take away as ", links[0], " or ", links[1]]),
        ],
        className="scrolled",
        tabIndex=0,
        role="region",
        **{"aria-label": "Changes"},
    )
