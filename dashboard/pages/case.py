"""The case sheet of one failure: one page to print and take to the flange."""

import pandas as pd
from dash import dcc, html

from analytics.installs.checklist import CHECKLIST, DEFECTS
from dashboard.components.blocks import message
from dashboard.monday import monday
from dashboard.view import View
from dashboard.words import day, listed, number, percent, sentence

__all__ = ["page"]


def page(view: View, life_id: str) -> html.Div:
    """What to do, what happened, how the causes weigh, what the install record says."""
    lives = view.whole.lives
    found = lives[lives["life_id"] == life_id]
    if found.empty:
        return html.Div([html.H1(life_id), message("The logs hold no disc life of this number.")])
    life = found.iloc[0]
    early = view.whole.installation
    rows = early.failures[early.failures["life_id"] == life_id] if early else pd.DataFrame()
    judged = (
        [_to_do(view, life, rows.iloc[0]), _what_happened(view, life), *_causes(view, rows.iloc[0])]
        if len(rows)
        else [
            _what_happened(view, life),
            message("Causes are weighed for premature failures only; this life ended otherwise."),
        ]
    )
    return html.Div(
        html.Article(
            [
                html.P("Case sheet", className="for-whom"),
                html.H1(_title(view, life)),
                *judged,
                _record(life),
                html.Section(
                    [
                        html.H2("Found on site (fill in)"),
                        html.Div([html.P() for _ in range(2)], className="lines"),
                        html.P("Name, date, signature:"),
                    ]
                ),
                html.Button("Print this sheet", className="print no-print", type="button"),
            ],
            className="sheet case",
        )
    )


def _title(view: View, life: pd.Series) -> str:
    age = f"{number(view.units.per_year * life['age_years'])} {view.units.age.value}"
    after = f" after {age}" if life["age_known"] else ""
    return f"{life['position_id']}: {_ending(life)} on {day(life['ended_on'])}{after}"


def _to_do(view: View, life: pd.Series, case: pd.Series) -> html.Section:
    steps = monday(view.whole, life, case)
    return html.Section(
        [html.H2("What to do on Monday"), html.Ol([html.Li(step) for step in steps])],
        className="monday",
    )


def _what_happened(view: View, life: pd.Series) -> html.Section:
    facts = {
        "Position": dcc.Link(
            life["position_id"], href=view.address("position", str(life["position_id"]))
        ),
        "Site, service": f"{life['site']}, {life['service'] or 'service unknown'}",
        "Disc, lot": f"{life['disc_code']}, {life['lot'] or 'lot unknown'}",
        "Fitted": f"{day(life['installed_on']) or 'unknown'} by {life['crew'] or 'unknown'}",
        "Operating ratio": f"{percent(life['operating_ratio'])}, {_pressure(life)}",
        "Cycles a year": number(life["cycles_per_year"]),
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


def _ending(life: pd.Series) -> str:
    reason = str(life["reason"]).replace("_", " ") if life.get("reason") else ""
    ending = str(life["ending"]).replace("_", " ")
    return f"{reason}, {ending}" if reason and reason != ending else ending


def _pressure(life: pd.Series) -> str:
    basis = life["pressure_basis"]
    return {"history": "from the historian", "nominal": "from the nominal pressure"}.get(
        basis, "pressure unknown"
    )


def _causes(view: View, case: pd.Series) -> list[html.Section]:
    rivals = view.whole.installation.rivals if view.whole.installation else pd.DataFrame()
    own = rivals[rivals["life_id"].eq(case["life_id"])] if len(rivals) else rivals
    return [
        html.Section(
            [html.H2("Was it the installation?"), html.P([_age(view, case), _share(case)])],
        ),
        html.Section([html.H2("What else could it be?"), _rivals(own)]),
    ]


def _age(view: View, case: pd.Series) -> str:
    if pd.isna(case["percentile"]):
        return ""
    limits = ""
    if pd.notna(case.get("percentile_low")):
        limits = f" [{percent(case['percentile_low'])} to {percent(case['percentile_high'])}]"
    age = f"{number(view.units.per_year * case['age_years'])} {view.units.age.value}"
    lots = view.whole.lots
    apart = len(lots) and case["lot"] in set(lots.loc[lots["flagged"].astype(bool), "lot"])
    return (
        f"Of discs{' of this lot' if apart else ''} fitted cleanly at this duty,"
        f" {percent(case['percentile'])}{limits} fail by this age ({age}). "
    )


def _share(case: pd.Series) -> str:
    if pd.isna(case["share"]):
        return "The share of the installation could not be worked out for this failure."
    defects = str(case["defects_found"]).replace("_", " ") or "none was recorded"
    main = CHECKLIST.get(str(case["main_defect"]))
    carries = f", most of it “{main.defect}”" if main else ""
    return (
        f"The installation carries {percent(case['share'])} [{percent(case['share_low'])} to"
        f" {percent(case['share_high'])}] of this failure{carries}. Defects on the record:"
        f" {defects}."
    )


def _rivals(rivals: pd.DataFrame) -> html.Table | html.P:
    if rivals.empty:
        return message("No other explanation was weighed.")
    head = html.Tr(
        [html.Th(name) for name in ("Explanation", "The record", "What would settle it")]
    )
    rows = [
        html.Tr(
            [
                html.Td(sentence(row["rival"])),
                html.Td([html.Strong(f"{sentence(row['verdict'])}: "), row["evidence"]]),
                html.Td(sentence(row["settles"])),
            ]
        )
        for _, row in rivals.iterrows()
    ]
    return html.Table([html.Thead(head), html.Tbody(rows)])


def _record(life: pd.Series) -> html.Section:
    """The checks in three lines: answered no, not recorded (never a pass), answered yes."""
    answers: dict[str, list[str]] = {"amiss": [], "blank": [], "passed": []}
    for name in DEFECTS:
        if name not in life or pd.isna(life[name]):
            answers["blank"].append(CHECKLIST[name].defect)
        else:
            answers["passed" if life[name] else "amiss"].append(CHECKLIST[name].defect)
    lines = [
        ("Found amiss: ", listed(answers["amiss"]) or "nothing recorded"),
        ("Not recorded, which is no pass: ", listed(answers["blank"]) or "nothing"),
        ("Passed: ", f"{len(answers['passed'])} of {len(DEFECTS)} checks"),
    ]
    return html.Section(
        [
            html.H2("The install record"),
            *(html.P([html.Strong(name), said]) for name, said in lines),
        ]
    )
