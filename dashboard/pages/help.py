"""Help: which view answers which question, and what the words mean."""

from dash import html

from dashboard.components.blocks import section
from dashboard.components.links import address, page_link
from dashboard.questions import GLOSSARY, QUESTIONS
from dashboard.view import View

__all__ = ["page"]


def page(view: View) -> html.Div:
    """Every weekly question with its view, or why it is not answered; the glossary."""
    readers = list(dict.fromkeys(question.reader for question in QUESTIONS))
    return html.Div(
        [
            html.Section(
                [
                    html.H1("Which view answers my question?"),
                    html.P("Thirty questions that come up week by week, and where to look."),
                ],
                className="answer",
            ),
            *(section(f"The {reader}", _asked(reader)) for reader in readers),
            section(
                "Words",
                html.Dl(
                    [
                        part
                        for word, meaning in GLOSSARY.items()
                        for part in (html.Dt(html.Strong(word)), html.Dd(meaning))
                    ]
                ),
            ),
        ]
    )


def _asked(reader: str) -> html.Div:
    rows = [
        html.Tr(
            [
                html.Td(question.text),
                html.Td(
                    page_link(question.view, address(*question.page.split("/")))
                    if question.page
                    else html.Em("Not answered")
                ),
                html.Td(question.how),
            ]
        )
        for question in QUESTIONS
        if question.reader == reader
    ]
    head = html.Tr([html.Th(name, scope="col") for name in ("Question", "View", "How")])
    return html.Div(
        html.Table([html.Thead(head), html.Tbody(rows)]),
        className="scrolled",
        tabIndex=0,
        role="region",
        **{"aria-label": f"Questions of the {reader}"},
    )
