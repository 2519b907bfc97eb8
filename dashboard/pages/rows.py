"""One table on a page of its own: the rows behind a figure."""

from dash import html

from dashboard.components.blocks import message
from dashboard.components.tables import grid
from dashboard.sentences import basis
from dashboard.table_list import TABLES
from dashboard.view import View

__all__ = ["page"]


def page(view: View, key: str) -> html.Div:
    """Show the table of this key under the selection."""
    if key not in TABLES:
        return html.Div([html.H1("No such table"), message("Choose a page above.")])
    return html.Div(
        [
            html.Section(
                [html.H1(TABLES[key].title), html.P(basis(view.findings), className="for-whom")],
                className="answer",
            ),
            html.Section(grid(key, view), className="part"),
        ]
    )
