"""One table on a page of its own: the rows behind a figure."""

from dash import html

from dashboard.components.blocks import message
from dashboard.components.tables import grid
from dashboard.sentences import basis
from dashboard.table_list import TABLES
from dashboard.view import View
from dashboard.words import count

__all__ = ["page"]


def page(view: View, named: list[str]) -> html.Div:
    """Show a table under the selection, or the rows of it that hold certain words.

    `named` is the table's key, then pairs of a column and the word it holds.
    """
    key, *told = named
    if key not in TABLES:
        return html.Div([html.H1("No such table"), message("Choose a page above.")])
    table = TABLES[key]
    rows, words = table.rows(view.findings), dict(zip(told[::2], told[1::2], strict=False))
    for column, word in words.items():
        rows = rows[rows[column].astype(str) == word] if column in rows else rows.iloc[:0]
    behind = basis(view.findings, rows if words and "ending" in rows else None)
    said = (
        f"{count(len(rows), 'row').capitalize()} of {', '.join(words.values())}. {behind}"
        if words
        else behind
    )
    return html.Div(
        [
            html.Section(
                [html.H1(table.title), html.P(said, className="for-whom")], className="answer"
            ),
            html.Section(grid(key, view, rows if words else None), className="part"),
        ]
    )
