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
                grid("set-aside", view, renderers={"line": "MendLink"} if can_read_again else None),
                note=(
                    "Open a row by its line to mend it here and check it again; its file stays as"
                    " it is. Or mend it in its file. Then read the logs again."
                    if can_read_again
                    else "Mend the row in its file and read the folder again."
                ),
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
            _changes(view) if can_read_again else None,
            section("Disc lives made from these logs", grid("lives", view)),
        ]
    )


def _read_again() -> html.Section:
    return section(
        "Read the logs again",
        html.Div(
            [
                html.Button("Read the logs again", id=ids.READ_AGAIN, className="act"),
                html.Button("Scan the pressure history", id=ids.SCAN, className="act quiet"),
                html.Button("Check past forecasts", id=ids.PAST, className="act quiet"),
                html.Button("Cancel", id=ids.CANCEL, className="act quiet"),
            ],
            className="acts editors",
        ),
        html.P(html.A("Bring other logs", href="/bring"), className="editors"),
        html.P(id=ids.ASKED, role="status"),
        html.P(id=ids.CANCELLED, role="status"),
        html.Div(id=ids.JOBS),
        dcc.Interval(id=ids.TICK, interval=2_000),
        note="After a file of the folder changed, or records were signed: reading fits the model"
        " anew, and the pages stay as they are until it is done. A scan reads new history files"
        " ahead of that. Past forecasts are checked against what was used, for the storeroom.",
    )


def _changes(view: View) -> html.Section:
    """What was changed here; filled by a callback, since it grows without new findings."""
    return section(
        "What was changed here",
        html.Div(id=ids.CHANGES),
        dcc.Interval(id=ids.CHANGES_TICK, interval=15_000),
        note=(
            "Who, when, what, and the data and model that were on show. Now on show: data version"
            f" {view.whole.data_version or 'not known'}; {view.whole.model_version}."
        ),
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
