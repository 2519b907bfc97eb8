"""The reliability engineer's second page: when to replace which disc."""

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from dashboard import ids
from dashboard.accepting import interval_key
from dashboard.components.blocks import accepting, answer, figure, message, section
from dashboard.components.links import address, page_link
from dashboard.components.tables import grid, plain
from dashboard.figures.interval import cost_figure
from dashboard.interval_sentences import intervals_answer, outage_limits, past_cap
from dashboard.view import View

__all__ = ["cost_curve", "page"]

_FIRST = 8
_ACCEPTING = " Accepting notes who agreed to what and when; it changes no interval and no cap."
_IN_SHORT = (
    "position_id",
    "site",
    "replace_on",
    "age_months",
    "age_low",
    "age_high",
    "today_age_months",
    "cap_months",
    "premature_probability",
    "note",
)


def page(view: View, *, can_accept: bool = False) -> html.Div:
    """The answer, what to shorten, what to ask, the cost curve and every position."""
    return html.Div(
        [
            answer(
                "When should each disc be replaced?",
                intervals_answer(view.findings),
                for_whom="For the reliability engineer",
            ),
            _past_cap(view),
            _policies(view),
            _proposed(
                view,
                "shorten",
                "Replace sooner than today",
                "Fewer premature failures for more discs; the risk of each new fitting is counted.",
                can_accept=can_accept,
            ),
            _proposed(
                view,
                "ask",
                "Ask the responsible engineer",
                "A longer interval looks possible here. It is a question, never a recommendation,"
                " and never past the cap.",
            ),
            _curves(view),
            _outages(view),
            section(
                "Every position",
                grid("intervals", view),
                note=(
                    "An age that saves money on premature bursts is no safety interval: it says"
                    " nothing about a disc failing to open."
                ),
            ),
        ]
    )


def _outages(view: View) -> html.Section | None:
    """What goes out at the first outage of each group, the cheapest plan within every cap."""
    rows = view.findings.outage_plan
    if rows.empty:
        return None
    first = rows.groupby("turnaround_group")["outage_on"].transform("min")
    counts = (
        rows[rows["outage_on"] == first]
        .groupby(["outage_on", "turnaround_group"])
        .size()
        .reset_index(name="discs")
        .sort_values("outage_on")
    )
    return section(
        "Which discs go out at the next outages?",
        html.Ul(
            [
                html.Li(f"{row.turnaround_group}, {row.outage_on:%Y-%m-%d}: {row.discs} discs")
                for row in counts.itertuples()
            ],
            className="plain",
        ),
        html.P(limits) if (limits := outage_limits(view.findings)) else None,
        grid("outage-plan", view),
        grid("outage-groups", view),
        note=(
            "The cheapest plan over all coming outages of a group that passes no cap. Make it anew"
            " before each outage: discs fitted since may be left in."
        ),
    )


def cost_curve(view: View, position: str) -> html.Div:
    """Draw the cost curve of one position with its table."""
    curve = view.whole.interval_curves.get(position)
    if curve is None:
        return html.Div(message("No cost curve for this position."))
    rows = view.whole.intervals
    marks: dict[str, float] = {}
    for row in rows[rows["position_id"] == position].itertuples():
        marks = {"proposed": row.age_months, "today": row.today_age_months, "cap": row.cap_months}
    return html.Div(
        figure(
            view,
            cost_figure(curve, view.units, view.currency, marks),
            says=f"Cost a year at {position} against the age at which its disc is replaced.",
            twin=plain("cost-curves", view, curve.assign(position_id=position)),
            rows=("intervals", "position_id", position),
            of_all=True,
        )
    )


def _past_cap(view: View) -> html.Section | None:
    past = past_cap(view.findings)
    if past.empty:
        return None
    more = f" The first {_FIRST} of {len(past)}." if len(past) > _FIRST else ""
    return section(
        "Past the cap",
        plain("overdue", view, past.head(_FIRST)),
        html.P(page_link("All, and those past their recommended age", address("rows", "overdue"))),
        note=f"The cap is the smallest of the maker's, the code's and the site's. Far past it, look"
        f" first for a lost record.{more}",
    )


def _policies(view: View) -> html.Section | None:
    if view.findings.policies.empty:
        return None
    return section(
        "What would following these ages change?",
        plain("policies", view),
        note=(
            "All positions with both costs on record, in the long run; upsets come on top. It"
            " counts premature failures; a disc that fails to open is another matter, which only"
            " the cap guards."
        ),
    )


def _proposed(
    view: View, proposal: str, title: str, note: str, *, can_accept: bool = False
) -> html.Section | None:
    rows = view.findings.intervals
    kept = rows["proposal"] == proposal if len(rows) else None
    return _few(view, title, kept, note, can_accept=can_accept)


def _few(
    view: View, title: str, kept: object, note: str, *, can_accept: bool
) -> html.Section | None:
    if kept is None:
        return None
    rows = view.findings.intervals[kept].sort_values("replace_on")
    if rows.empty:
        return None
    few = rows.head(_FIRST)
    more = f" The first {_FIRST} of {len(rows)}; all stand below." if len(rows) > _FIRST else ""

    def shorten(row: dict[str, Any]) -> object:
        key = interval_key(row["position_id"])
        return accepting(key, row["position_id"])

    return section(
        title,
        plain("intervals", view, few, only=_IN_SHORT, last=shorten if can_accept else None),
        dcc.Store(id=ids.ACCEPTED) if can_accept else None,
        note=note + more + (_ACCEPTING if can_accept else ""),
    )


def _curves(view: View) -> html.Section | None:
    shown = set(view.findings.intervals.get("position_id", ()))
    positions = [position for position in view.whole.interval_curves if position in shown]
    if not positions:
        return None
    return section(
        "What does waiting cost?",
        dmc.Select(
            id=ids.PICKED_POSITION,
            label="Position",
            data=positions,
            value=positions[0],
            allowDeselect=False,
            searchable=True,
            size="sm",
            maw=280,
        ),
        html.Div(cost_curve(view, positions[0]), id=ids.COST_CURVE),
        note="Within the shaded ages the cost hardly changes: pick the date that suits the outage.",
    )
