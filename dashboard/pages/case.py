"""The case sheet of one failure: one page to print and take to the flange."""

import pandas as pd
from dash import dcc, html

from analytics.logs.tables import CHECKS, TABLES
from dashboard.components.blocks import message
from dashboard.view import View
from dashboard.words import day, number, percent

__all__ = ["page"]


def page(view: View, life_id: str) -> html.Div:
    """What happened, what the install record says, how the causes weigh, what to do."""
    lives = view.whole.lives
    found = lives[lives["life_id"] == life_id]
    if found.empty:
        return html.Div([html.H1(life_id), message("The logs hold no disc life of this number.")])
    life = found.iloc[0]
    return html.Div(
        html.Article(
            [
                html.P("Case sheet", className="for-whom"),
                html.H1(f"{life['position_id']}, {day(life['ended_on'])}"),
                _what_happened(view, life),
                _causes(view, life_id),
                _record(life),
                html.Section(
                    [
                        html.H2("Found on site (fill in)"),
                        html.Div([html.P() for _ in range(4)], className="lines"),
                        html.P("Name, date, signature:"),
                    ],
                    className="lines",
                ),
                html.Button("Print this sheet", className="print no-print", type="button"),
            ],
            className="sheet",
        )
    )


def _what_happened(view: View, life: pd.Series) -> html.Section:
    per_year = view.units.per_year
    facts = {
        "Position": dcc.Link(
            life["position_id"], href=view.address("position", str(life["position_id"]))
        ),
        "Site, service": f"{life['site']}, {life['service'] or 'service unknown'}",
        "Disc, lot": f"{life['disc_code']}, {life['lot'] or 'lot unknown'}",
        "Fitted": day(life["installed_on"]) or "unknown",
        "Ended": f"{day(life['ended_on'])}: {str(life['ending']).replace('_', ' ')}",
        "Age": f"{number(per_year * life['lower_years'])} {view.units.age.value}",
        "Operating ratio": percent(life["operating_ratio"]),
        "Pressure from": life["pressure_basis"] or "unknown",
        "Cycles a year": number(life["cycles_per_year"]),
        "Crew": life["crew"] or "unknown",
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


def _causes(view: View, life_id: str) -> html.Section:
    early = view.whole.installation
    rows = early.failures[early.failures["life_id"] == life_id] if early else pd.DataFrame()
    if rows.empty:
        return html.Section(
            [
                html.H2("Causes"),
                message(
                    "Causes are weighed for premature failures only; this life ended otherwise."
                ),
            ]
        )
    case = rows.iloc[0]
    defects = case["defects_found"] or "none on the install record"
    return html.Section(
        [
            html.H2("Causes"),
            html.P(
                f"The installation carries {percent(case['share'])}"
                f" [{percent(case['share_low'])} to {percent(case['share_high'])}] of this failure."
                f" {percent(case['percentile'])} of like discs fail by this age."
                if pd.notna(case["share"])
                else "The share of the installation could not be worked out for this failure."
            ),
            html.P([html.Strong("Defects on the record: "), str(defects).replace("_", " ")]),
            html.P(
                [
                    html.Strong("What else could explain it: "),
                    case["rivals"] or "nothing on record points elsewhere",
                ]
            ),
            html.P([html.Strong("What to do: "), case["advice"]]),
        ]
    )


def _record(life: pd.Series) -> html.Section:
    words = {True: "yes", False: "NO"}
    rows = [
        html.Tr(
            [
                html.Td(TABLES["installs"].column(check).about),
                html.Td("not recorded" if pd.isna(life[check]) else words[bool(life[check])]),
            ]
        )
        for check in CHECKS
        if check in life
    ]
    torque = "low" if _failed(life, "torque_not_low") else ""
    torque = "high" if _failed(life, "torque_not_high") else torque
    return html.Section(
        [
            html.H2("The install record"),
            html.Table(html.Tbody(rows)),
            html.P(f"Torque recorded {torque} against its target.") if torque else None,
        ]
    )


def _failed(life: pd.Series, check: str) -> bool:
    return check in life and not pd.isna(life[check]) and not bool(life[check])
