"""The report for the meeting: one HTML file that needs nothing else and prints well."""

from html import escape
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import pandas as pd
import plotly.graph_objects as go
from plotly.offline import get_plotlyjs

from analytics.findings import Findings
from dashboard.avoided import CAVEAT, avoided_answer
from dashboard.cells import cell_text
from dashboard.early_sentences import early_answer
from dashboard.figures.avoided import avoided_figure
from dashboard.figures.fleet import costs_figure, trend_figure
from dashboard.figures.life import hazard_figure, life_figure
from dashboard.figures.steps import steps_figure
from dashboard.fleet_sentences import fleet_answer, sites_answer
from dashboard.interval_sentences import intervals_answer, past_cap
from dashboard.reading import Units
from dashboard.sentences import CAUTION, basis, dangerous_sentence, logs_answer
from dashboard.storeroom_sentences import storeroom_answer
from dashboard.suspects import lot_sentences
from dashboard.table_list import TABLES
from dashboard.tables import LIMITS, WORDS, Column, converted, heading, limits_of
from dashboard.watch_sentences import (
    programme_sentences,
    record_next_sentences,
    watch_sentences,
)
from dashboard.words import count, day, sentence

__all__ = ["report_html", "write_report"]

_WIDTH = 680
"""Pixels that fit between the margins of both A4 and Letter."""
_SHRINK = 0.64
"""Figures are this part as tall as on a page, so that few of them leave a page half blank."""
_UNITS = Units()
_MOST_ROWS = 40
_MOST_CHANGES = 8
_SHORT = 16
_INTERVAL_COLUMNS = (
    "position_id",
    "disc_code",
    "replace_on",
    "age_months",
    "today_age_months",
    "cap_months",
    "premature_probability",
)

_STYLE = """
@page { margin: 15mm; }
body { font: 11pt/1.45 system-ui, 'Liberation Sans', 'DejaVu Sans', sans-serif; color: #1c262b;
  max-width: 690px; margin: 1.5rem auto; padding: 0 1rem; background: #fff; }
h1 { font-size: 20pt; line-height: 1.2; margin: 0 0 .2rem; }
h2 { font-size: 14pt; margin: 1.2rem 0 .3rem; border-top: 2px solid #1f677d; padding-top: .5rem; }
.answer { font-size: 12pt; margin: .2rem 0; }
.quiet, figcaption, .title { color: #51606a; font-size: 9.5pt; text-align: left; }
figure { margin: .5rem 0; }
figcaption { font-size: 8.5pt; line-height: 1.3; }
ul { margin: .2rem 0; padding-left: 1.2rem; }
.title { margin: .6rem 0 0; }
table { border-collapse: collapse; width: 100%; font-size: 9.5pt; margin: .4rem 0; }
th, td { text-align: left; vertical-align: top; padding: .2rem .5rem .2rem 0;
  border-bottom: 1px solid #d4d6d2; }
.numeric { text-align: right; font-variant-numeric: tabular-nums; }
.unbroken { white-space: nowrap; }
.danger { border-left: 5px solid #a1341f; padding-left: .7rem; }
.caution { border: 1px solid #51606a; padding: .5rem .7rem; font-size: 10pt; }
@media print {
  body { margin: 0; padding: 0; }
  h2, figure, tr, li, .caution { break-inside: avoid; }
  h2, .title { break-after: avoid; }
  thead { display: table-header-group; }
}
"""


def write_report(findings: Findings, path: Path) -> None:
    """Write the report as one file.

    Parameters
    ----------
    findings : Findings
        What the job found.
    path : Path
        An `.html` file, overwritten.
    """
    path.write_text(report_html(findings), encoding="utf-8")


def report_html(findings: Findings) -> str:
    """Give the report as HTML, plotting library and all inside it."""
    body = [
        _head(findings),
        _dangerous(findings),
        _fleet(findings),
        _early(findings),
        _intervals(findings),
        _storeroom(findings),
        _logs(findings),
        _versions(findings),
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f"<title>{escape(findings.title)}: bursting discs</title><style>{_STYLE}</style>"
        f"<script>{get_plotlyjs()}</script></head><body>{''.join(body)}</body></html>\n"
    )


def _head(findings: Findings) -> str:
    return (
        f"<h1>Bursting discs: {escape(findings.title)}</h1>"
        f'<p class="quiet">Logs from {day(findings.log_begins)} to {day(findings.export_date)}</p>'
        f'<p class="caution"><strong>Caution.</strong> {escape(CAUTION)}</p>'
    )


def _dangerous(findings: Findings) -> str:
    return (
        '<section class="danger"><h2>Dangerous findings</h2>'
        f"{_sentences([dangerous_sentence(findings)])}{_table('dangerous', findings)}</section>"
    )


def _storeroom(findings: Findings) -> str:
    return (
        "<h2>What to order this week</h2>"
        f"{_sentences(storeroom_answer(findings))}"
        f"{_table('order-this-week', findings, leave_out=('reason',))}"
    )


def _early(findings: Findings) -> str:
    early = findings.installation
    parts = [
        "<h2>Which early failures were owed to the installation</h2>",
        _sentences(early_answer(findings)),
    ]
    if early is not None:
        says = "Premature failures owed to each install defect, with 95 % limits."
        parts += [
            _figure(steps_figure(early.defects), says, findings),
            _table("install-steps", findings, leave_out=("check", "log_effect", "not_priced")),
        ]
    return "".join([*parts, _avoided(findings)])


def _avoided(findings: Findings) -> str:
    table = findings.what_if
    parts = [
        "<h2>What would have been avoided</h2>",
        _sentences(avoided_answer(findings)),
    ]
    if len(table):
        says = "Premature failures that each change would have avoided, with 95 % limits."
        parts += [
            f'<p class="quiet">{escape(CAVEAT)}</p>',
            _figure(avoided_figure(table), says, findings),
            _table(
                "what-if",
                findings,
                only=("about", "avoided", "per_year", "money", "note"),
                most=_MOST_CHANGES,
            ),
        ]
    parts += [_sentences(lot_sentences(findings)), _table("suspect-lots", findings)]
    parts += [
        "<h2>Has the quality of installation changed</h2>",
        _sentences([*watch_sentences(findings), *programme_sentences(findings)]),
        _table("watch", findings, leave_out=("other_observed", "other_expected", "wear_too")),
        _sentences(record_next_sentences(findings)),
    ]
    return "".join(parts)


def _intervals(findings: Findings) -> str:
    rows = findings.intervals
    parts = ["<h2>When to replace</h2>", _sentences(intervals_answer(findings))]
    if len(rows):
        shorten = rows[rows["proposal"] == "shorten"].sort_values("replace_on")
        parts += [
            _table("policies", findings, leave_out=("planned_per_year", "discs_per_year")),
            _table("overdue", findings, past_cap(findings), most=15),
            _table("intervals", findings, shorten, only=_INTERVAL_COLUMNS, most=15),
            '<p class="quiet">An age that saves money on premature bursts is no safety interval.'
            " A longer interval is a question for the responsible engineer, never past"
            " the cap.</p>",
        ]
    return "".join(parts)


def _fleet(findings: Findings) -> str:
    trend = findings.trend[findings.trend["site"] == "all"] if len(findings.trend) else None
    parts = ["<h2>The fleet</h2>", _sentences(fleet_answer(findings))]
    if trend is not None:
        says = "Premature failures per 100 disc-years, with 95 % limits."
        parts.append(_figure(trend_figure(trend), says, findings))
    if len(findings.sites):
        parts += [_sentences([sites_answer(findings)]), _table("sites", findings)]
    if len(findings.costs):
        says = f"Cost by year, {findings.currency}."
        parts.append(_figure(costs_figure(findings.costs, findings.currency), says, findings))
    if len(findings.life_curve):
        says = "Share of discs without a premature failure, by age (Kaplan-Meier)."
        parts.append(_figure(life_figure(findings.life_curve, _UNITS), says, findings))
    if len(findings.hazard_curve):
        says = "Yearly hazard of a middling disc, as the model splits it."
        parts.append(_figure(hazard_figure(findings.hazard_curve, _UNITS), says, findings))
    return "".join([*parts, _table("avoidable-losses", findings, most=5)])


def _logs(findings: Findings) -> str:
    cautions = [
        sentence(text) for text in findings.cautions if not text.startswith("Decision support")
    ]
    open_questions = [
        f"{question.replace('_', ' ')}: {reason}"
        for question, reason in findings.not_answered.items()
    ]
    return "".join(
        [
            "<h2>The logs behind this report</h2>",
            _sentences(logs_answer(findings)),
            _table("rows-read", findings),
            _list("What a reader must know", cautions),
            _list("What was inferred", findings.inferred),
            _list("What could not be answered", open_questions),
        ]
    )


def _versions(findings: Findings) -> str:
    model, accepted = findings.model, int(findings.rows["accepted"].sum())
    said = f"Model: {model.name}. {model.why} {model.fit_statement}" if model else "No life model."
    return (
        f'<p class="quiet">{escape(said)} Data as of {day(findings.export_date)},'
        f" version {escape(findings.data_version)}: a digest of the {accepted:,} accepted rows and"
        f" their duty. Made by {escape(findings.model_version or f'discward {_version()}')}.</p>"
    )


def _version() -> str:
    try:
        return version("discward")
    except PackageNotFoundError:
        return "from source"


def _sentences(sentences: list[str]) -> str:
    return "".join(f'<p class="answer">{escape(text)}</p>' for text in sentences if text)


def _list(title: str, sentences: list[str] | tuple[str, ...]) -> str:
    if not sentences:
        return ""
    items = "".join(f"<li>{escape(text)}</li>" for text in sentences)
    return f'<p class="title"><strong>{escape(title)}</strong></p><ul>{items}</ul>'


def _figure(figure: go.Figure, says: str, findings: Findings) -> str:
    height = round(_SHRINK * figure.layout.height)
    figure.update_layout(width=_WIDTH, height=height, font={"color": "#1c262b"})
    drawn = figure.to_html(
        full_html=False, include_plotlyjs=False, config={"staticPlot": True, "displaylogo": False}
    )
    return f"<figure>{drawn}<figcaption>{escape(f'{says} {basis(findings)}')}</figcaption></figure>"


def _table(
    key: str,
    findings: Findings,
    rows: pd.DataFrame | None = None,
    *,
    leave_out: tuple[str, ...] = (),
    only: tuple[str, ...] = (),
    most: int = _MOST_ROWS,
) -> str:
    table = TABLES[key]
    every = table.rows(findings) if rows is None else rows
    if every.empty:
        return ""
    limits = limits_of(table)
    columns = [
        column
        for column in table.present(every)
        if column.key not in leave_out
        and column.name not in LIMITS
        and (not only or column.key in only)
    ]
    head = "".join(_heading(column, findings.currency) for column in columns)
    body = "".join(
        "<tr>" + "".join(_cell(c, row, limits.get(c.key)) for c in columns) + "</tr>"
        for row in converted(table, every.head(most), _UNITS).to_dict("records")
    )
    more = len(every) - most
    rest = f'<p class="quiet">{count(more, "more row")} on the dashboard.</p>' if more > 0 else ""
    return (
        f'<p class="title" id="{key}-title">{escape(table.title)}</p>'
        f'<table aria-labelledby="{key}-title"><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table>{rest}"
    )


def _heading(column: Column, currency: str) -> str:
    side = "" if column.kind in WORDS else ' class="numeric"'
    return f"<th{side}>{escape(heading(column, _UNITS, currency))}</th>"


def _cell(column: Column, row: dict[str, object], limits: tuple[str, str] | None) -> str:
    text = cell_text(column, row, limits)
    if column.kind in WORDS:
        side = ' class="unbroken"' if len(text) <= _SHORT else ""
        return f"<td{side}>{escape(text)}</td>"
    return f'<td class="numeric">{escape(text)}</td>'
