"""The parts of the engineer's page on change: the watch, the programmes, what to record next."""

from dash import html

from dashboard.components.blocks import figure, message, section
from dashboard.components.tables import grid, plain
from dashboard.declared.watching import CHARTS
from dashboard.figures.watching import watch_figure
from dashboard.table_list import TABLES
from dashboard.view import View
from dashboard.watch_sentences import (
    programme_sentences,
    record_next_sentences,
    watch_sentences,
)

__all__ = ["programmes_part", "record_next_part", "watch_part"]

_COUNTED = {"records": "Defects found", "failures": "Failures"}
_SAYS = {
    "records": "Defects found at fitting, observed less expected of the same checks",
    "failures": "Installation failures, observed less expected on the same duty",
}


_IN_SHORT = (
    "chart",
    "group",
    "direction",
    "since",
    "signalled_on",
    "observed",
    "expected",
    "rate_ratio",
    "low",
    "high",
)


def watch_part(view: View) -> html.Section:
    """Say whether the quality of installation changed, and draw the charts that saw it."""
    found = view.whole
    return section(
        "Has the quality of installation changed?",
        *(html.P(sentence) for sentence in watch_sentences(found)),
        html.Div([_drawn(view, chart) for chart in _SAYS], className="pair"),
        plain("watch", view, only=_IN_SHORT) if len(found.watch) else None,
        html.Details([html.Summary("All charts"), grid("watch-charts", view)]),
        note=(
            "Each group is held against its own level so far, duty allowed for, and each failure"
            " counts by the installation's share of its hazard. Part of what makes a change stand"
            " out is chance, so its size is rather overstated. Groups below five events have no"
            " chart. An association, not blame."
        ),
    )


def _drawn(view: View, chart: str) -> html.Figure:
    found = view.whole
    path = TABLES["watch-path"].rows(found)
    twin = path[path["chart"] == CHARTS[chart]] if len(path) else path
    return figure(
        view,
        watch_figure(found.watch_path, found.watch, chart, _COUNTED[chart]),
        says=f"{_SAYS[chart]}; a circle marks the change-point, a triangle the day it was seen.",
        twin=grid("watch-path", view, twin),
        of_all=True,
        rows=("failures",) if chart == "failures" else ("lives",),
    )


def programmes_part(view: View) -> html.Section:
    """Say what the declared programmes changed."""
    told = programme_sentences(view.whole)
    return section(
        "What did the improvement programmes change?",
        *(html.P(sentence) for sentence in told),
        plain("programmes", view)
        if told
        else message("No programme is declared: name it and its first day in logs.toml."),
        note=(
            "Discs fitted before and since, on equal duty. Programmes begin where things were"
            " worst, and part of the worst is bad luck that passes by itself: the level before is"
            " drawn towards the other groups' for that."
        ),
    )


def record_next_part(view: View) -> html.Section:
    """Say which check is worth recording next."""
    told = record_next_sentences(view.whole)
    return section(
        "What to record next",
        *(html.P(sentence) for sentence in told),
        plain("record-next", view)
        if told
        else message("Every check that enters the model is recorded often, or none does."),
        note=(
            "How wide the limits would be had the check been on every record of this log. Where"
            " they would then stand, only the records can tell."
        ),
    )
