"""The front page: what each reader must know first, in one screen."""

from dash import html

from dashboard.components.links import address, page_link
from dashboard.early_sentences import early_answer
from dashboard.fleet_sentences import fleet_answer
from dashboard.interval_sentences import intervals_answer
from dashboard.sentences import dangerous_sentence
from dashboard.storeroom_sentences import storeroom_answer
from dashboard.view import View
from dashboard.words import sentence

__all__ = ["page"]

_FIRST = 5


def page(view: View) -> html.Div:
    """Show the first answers of every page with the way to the rest."""
    found = view.findings
    cards = (
        ("Storeroom", "storeroom", storeroom_answer(found)),
        ("Early failures", "early", early_answer(view.whole)),
        ("Intervals", "intervals", intervals_answer(found)),
        ("Fleet", "fleet", fleet_answer(found)),
    )
    return html.Div(
        [
            html.Section(
                [html.H1("What the logs say now"), html.P(dangerous_sentence(found))],
                className="answer",
            ),
            html.Div([_card(*card) for card in cards], className="pair"),
            _cautions(view),
        ]
    )


def _card(name: str, path: str, sentences: list[str]) -> html.Section:
    return html.Section(
        [
            html.H2(page_link(name, address(path))),
            *(html.P(sentence) for sentence in sentences[:2] if sentence),
        ],
        className="part",
    )


def _cautions(view: View) -> html.Section | None:
    cautions = [text for text in view.whole.cautions if not text.startswith("Decision support")]
    if not cautions:
        return None
    more = len(cautions) - _FIRST
    return html.Section(
        [
            html.H2("Know this before you act"),
            html.Ul(
                [html.Li(sentence(caution)) for caution in cautions[:_FIRST]], className="plain"
            ),
            html.P(page_link(f"{more} more", address("logs"))) if more > 0 else None,
        ],
        className="part",
    )
