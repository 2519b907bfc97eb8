"""The page on the logs themselves: what was read, set aside, inferred and not answered."""

from dash import html

from dashboard.components.blocks import answer, message, section
from dashboard.components.tables import grid, plain
from dashboard.sentences import logs_answer
from dashboard.view import View

__all__ = ["page"]


def page(view: View) -> html.Div:
    """The answer, rows per table, rows set aside with mends, inferences, open questions."""
    whole = view.whole
    return html.Div(
        [
            answer(
                "Can these logs be trusted?",
                logs_answer(whole),
                for_whom="For whoever keeps the logs",
            ),
            section(
                "Rows read",
                plain("rows-read", view),
                note="Accepted and set aside always add up to the rows read. Nothing is dropped.",
            ),
            section(
                "Rows set aside",
                grid("set-aside", view),
                note="Mend the row in its file and read the folder again.",
            ),
            html.Div(
                [
                    section("What was inferred", _list(whole.inferred, "Nothing was inferred.")),
                    section("What a reader must know", _list(whole.cautions, "No caution.")),
                ],
                className="pair",
            ),
            section("What could not be answered", _open_questions(view)),
            section("Disc lives made from these logs", grid("lives", view)),
        ]
    )


def _list(sentences: tuple[str, ...], otherwise: str) -> object:
    if not sentences:
        return message(otherwise)
    return html.Ul([html.Li(sentence) for sentence in sentences], className="plain")


def _open_questions(view: View) -> object:
    if not view.whole.not_answered:
        return message("Every question was answered.")
    return html.Dl(
        [
            part
            for question, reason in view.whole.not_answered.items()
            for part in (html.Dt(question.replace("_", " ").capitalize()), html.Dd(reason))
        ],
        className="facts",
    )
