"""The case sheet of one failure: one page to print and take to the flange."""

from datetime import date

import numpy as np
import pandas as pd
from dash import html

from analytics.early.rivals import Verdict
from analytics.findings import Findings
from dashboard.case_causes import FITTING, likely_causes, own_rivals
from dashboard.case_sentences import (
    age_sentence,
    answered,
    case_facts,
    likeliest,
    ruled_out,
    share_sentence,
    title,
)
from dashboard.components.blocks import message
from dashboard.components.links import address, page_link
from dashboard.monday import monday
from dashboard.view import View
from dashboard.words import day, listed, sentence

__all__ = ["page"]

_OTHERS = "What else could it be?"

_TO_FILL = (
    "Tag of the removed disc (type, lot, mark), and where it tore:",
    "Seat, holder, studs, gasket:",
    "Pressure and temperature that day, what moved:",
    "Cause found; name, date, signature:",
)


def page(view: View, life_id: str) -> html.Div:
    """Likeliest cause, what to do, the facts, the other explanations, the install record."""
    lives = view.whole.lives
    found = lives[lives["life_id"] == life_id]
    if found.empty:
        return html.Div([html.H1(life_id), message("The logs hold no disc life of this number.")])
    life = found.iloc[0]
    case = _case(view.whole, life)
    judged = (
        [message("Causes are weighed for premature failures only, where a life model was fitted.")]
        if case is None
        else [_cause(view, life, case), _to_do(view, life, case)]
    )
    return html.Div(
        html.Article(
            [
                html.P(_whose(view.whole, life), className="for-whom"),
                html.H1(title(life, view.units)),
                *judged,
                _what_happened(view, life),
                *([] if case is None else [_else(view, case)]),
                _record(life),
                html.Section([html.H2("Found on site (fill in)"), *map(_line, _TO_FILL)]),
                html.Button("Print this sheet", className="print no-print", type="button"),
            ],
            className="sheet case",
        )
    )


def _case(findings: Findings, life: pd.Series) -> pd.Series | None:
    """The failure's row; a premature failure of unknown age has its causes but no share."""
    if findings.installation is None or life["ending"] != "premature":
        return None
    failures = findings.installation.failures
    rows = failures[failures["life_id"] == life["life_id"]]
    if len(rows):
        return rows.iloc[0]
    unknown = dict.fromkeys(("percentile", "share", "share_low", "share_high"), np.nan)
    return pd.Series({**life.to_dict(), **unknown, "main_defect": ""})


def _whose(findings: Findings, life: pd.Series) -> str:
    upto: date = findings.export_date
    return f"Case sheet {life['life_id']}, {findings.title}, logs to {day(upto)}"


def _cause(view: View, life: pd.Series, case: pd.Series) -> html.Section:
    causes = likely_causes(view.whole, case)
    first = causes[0].said if causes else ""
    told = [
        first,
        age_sentence(view.whole, case, view.units),
        share_sentence(case, causes),
        # Of the others that the record points to the table below says why.
        *(f"The fitting: {cause.said}" for cause in causes[1:] if cause.name == FITTING),
    ]
    words = " ".join(view.units.said(said) for said in told if said)
    return html.Section([html.H2(likeliest(causes, case)), html.P(words)], className="likeliest")


def _to_do(view: View, life: pd.Series, case: pd.Series) -> html.Section:
    found = monday(view.whole, life, case)
    steps = [
        html.Li(
            [
                html.Span(className="tick on-paper"),
                html.Strong(f"{step.who}: "),
                view.units.said(step.what),
            ]
        )
        for step in found.steps
    ]
    return html.Section(
        [
            html.H2("What to do on Monday"),
            html.P(found.done) if found.done else None,
            html.Ol(steps),
            html.P(
                [said for each in found.leave for said in (html.Strong("Do not "), f"{each}. ")]
            ),
        ],
        className="monday",
    )


def _what_happened(view: View, life: pd.Series) -> html.Section:
    place = str(life["position_id"])
    facts: dict[str, object] = {
        "Position": page_link(place, address("position", place)),
        **case_facts(view.whole, life, view.units),
    }
    return html.Section(
        [
            html.H2("What happened"),
            html.Dl(
                [html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts.items()],
                className="facts",
            ),
        ]
    )


def _else(view: View, case: pd.Series) -> html.Section:
    """What still stands, each with the record that would settle it; then what does not."""
    rivals = own_rivals(view.whole, case["life_id"])
    if rivals.empty:
        return html.Section([html.H2(_OTHERS), message("No other explanation was weighed.")])
    standing = rivals[rivals["verdict"].ne(Verdict.AGAINST.value)]
    against = ruled_out(rivals)
    return html.Section(
        [
            html.H2(_OTHERS),
            _table(view, standing)
            if len(standing)
            else html.P("The record points to no other explanation and leaves none open."),
            html.P([html.Strong("The record speaks against: "), view.units.said(against), "."])
            if against
            else None,
        ]
    )


def _table(view: View, standing: pd.DataFrame) -> html.Table:
    head = html.Tr(
        [html.Th(name) for name in ("Explanation", "The record", "What would settle it")]
    )
    rows = [
        html.Tr(
            [
                html.Td(sentence(row["rival"])),
                html.Td(
                    [
                        html.Strong(f"{sentence(row['verdict'])}: "),
                        view.units.said(row["evidence"]),
                    ]
                ),
                html.Td(sentence(row["settles"])),
            ]
        )
        for _, row in standing.iterrows()
    ]
    return html.Table([html.Thead(head), html.Tbody(rows)])


def _record(life: pd.Series) -> html.Section:
    """How many checks passed, and in a line each those answered no and those not recorded."""
    checks = answered(life)
    every = sum(map(len, checks.values()))
    blank = listed(checks["blank"]) if len(checks["blank"]) < every else "any of them"
    lines = [
        ("Found amiss: ", listed(checks["amiss"]) or "nothing recorded"),
        (
            "Not recorded, which is no pass: ",
            blank or "nothing",
        ),
    ]
    return html.Section(
        [
            html.H2(f"The install record: {len(checks['passed'])} of {every} checks passed"),
            *(html.P([html.Strong(name), f"{said}."]) for name, said in lines),
        ]
    )


def _line(asked: str) -> html.P:
    return html.P(asked, className="line")
