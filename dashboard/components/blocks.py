"""The blocks every page is built from: the answer, a figure with its table, a message."""

import pandas as pd
import plotly.graph_objects as go
from dash import html

from dashboard import ids
from dashboard.components.drawn_figure import DrawnFigure
from dashboard.components.links import address, page_link
from dashboard.sentences import basis
from dashboard.view import View

__all__ = ["accepting", "answer", "figure", "message", "section"]


def answer(title: str, sentences: list[str], *, for_whom: str) -> html.Section:
    """Show the page's answer: its title and two or three plain sentences."""
    return html.Section(
        [
            html.P(for_whom, className="for-whom"),
            html.H1(title),
            *(html.P(sentence) for sentence in sentences if sentence),
        ],
        className="answer",
    )


def section(title: str, *children: object, note: str = "") -> html.Section:
    """Show one part of a page under its heading."""
    return html.Section(
        [html.H2(title), html.P(note, className="note") if note else None, *children],
        className="part",
    )


def figure(
    view: View,
    drawn: go.Figure,
    *,
    says: str,
    twin: object = None,
    rows: tuple[str, ...] = ("lives",),
    of_all: bool = False,
    lives: pd.DataFrame | None = None,
) -> html.Figure:
    """Show a figure, what stands behind it, the same numbers as a table, and the log rows.

    `of_all` marks a figure of the whole fleet, which no filter narrows; `lives` are those
    drawn where they are fewer. `rows` names the table of what is drawn and, where that is
    less than the table, pairs of a column and the word it holds.
    """
    return html.Figure(
        [
            html.Div(
                DrawnFigure(figure=drawn),
                role="img",
                **{"aria-label": says},
            ),
            html.Figcaption(
                [
                    f"{says} {'Whole fleet, whatever is filtered. ' if of_all else ''}"
                    f"{basis(view.whole if of_all else view.findings, lives)} ",
                    page_link("The rows behind it", address("rows", *rows), of_all=of_all),
                ]
            ),
            html.Details([html.Summary("The same as a table"), twin]) if twin is not None else None,
        ]
    )


def accepting(key: str, what: str) -> html.Div:
    """Offer to accept a recommendation, with room for who did."""
    return html.Div(
        [
            html.Button(
                "Accept",
                id=ids.accept_id(key),
                className="small editors",
                **{"aria-label": f"Accept: {what}"},
            ),
            html.Span(id=ids.accepted_id(key), className="note"),
        ]
    )


def message(text: str) -> html.P:
    """Say plainly why there is nothing to show."""
    return html.P(text, className="nothing")
