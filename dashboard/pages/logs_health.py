"""The page on the logs themselves: what was read, set aside, inferred and not answered."""

from dash import dcc, html

from dashboard import ids
from dashboard.components.blocks import answer, message, section
from dashboard.components.tables import grid, plain
from dashboard.sentences import logs_answer
from dashboard.view import View
from dashboard.words import sentence

__all__ = ["page"]


def page(view: View, *, can_read_again: bool = False) -> html.Div:
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
            _read_again() if can_read_again else None,
            section("Disc lives made from these logs", grid("lives", view)),
        ]
    )


def _read_again() -> html.Section:
    return section(
        "Read the logs again",
        html.Div(
            [
                html.Button("Read the logs again", id=ids.READ_AGAIN, className="act"),
                html.Button("Cancel", id=ids.CANCEL, className="act quiet"),
            ],
            className="acts",
        ),
        html.P(html.A("Bring other logs", href="/bring")),
        html.P(id=ids.ASKED, role="status"),
        html.P(id=ids.CANCELLED, role="status"),
        html.Div(id=ids.JOBS),
        dcc.Interval(id=ids.TICK, interval=2_000),
        note="After a file of the folder changed, or records were signed. The pages stay as they"
        " are until it is done.",
    )


def _list(sentences: tuple[str, ...], otherwise: str) -> object:
    if not sentences:
        return message(otherwise)
    return html.Ul([html.Li(sentence(text)) for text in sentences], className="plain")


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
