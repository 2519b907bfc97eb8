"""The front page: what each reader must know first, in one screen."""

from dash import dcc, html

from dashboard.sentences import (
    dangerous_sentence,
    early_answer,
    fleet_answer,
    intervals_answer,
    storeroom_answer,
)
from dashboard.view import View

__all__ = ["page"]


def page(view: View) -> html.Div:
    """Show the first answers of every page with the way to the rest."""
    found = view.findings
    cards = (
        ("Storeroom", "storeroom", storeroom_answer(found)),
        ("Early failures", "early", early_answer(found)),
        ("Intervals", "intervals", intervals_answer(found)),
        ("Fleet", "fleet", fleet_answer(found)),
    )
    return html.Div(
        [
            html.Section(
                [html.H1("What the logs say now"), html.P(dangerous_sentence(found))],
                className="answer",
            ),
            html.Div([_card(view, *card) for card in cards], className="pair"),
            _cautions(view),
        ]
    )


def _card(view: View, name: str, path: str, sentences: list[str]) -> html.Section:
    return html.Section(
        [
            html.H2(dcc.Link(name, href=view.address(path))),
            *(html.P(sentence) for sentence in sentences[:2] if sentence),
        ],
        className="part",
    )


def _cautions(view: View) -> html.Section | None:
    if not view.whole.cautions:
        return None
    return html.Section(
        [
            html.H2("Know this before you act"),
            html.Ul([html.Li(caution) for caution in view.whole.cautions], className="plain"),
        ],
        className="part",
    )
