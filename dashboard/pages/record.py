"""The crew's page: record an install or a removal at the flange."""

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html

from analytics.installs.checklist import CHECKLIST
from analytics.installs.tag import Match, Verdict, may_be_fitted
from analytics.installs.torque import step_torques
from analytics.logs.tables import CHECKS, FAMILIES, TABLES, Column, Kind
from dashboard import ids
from dashboard.components.blocks import message, section
from dashboard.components.links import address, page_link
from dashboard.reading import Units
from dashboard.recording.asking import Plant
from dashboard.recording.forms import STEPS, Form, Problem, gap_spreads
from dashboard.recording.keeping import Keeper, draft, drafts, signed
from dashboard.recording.taking import ELSEWHERE
from dashboard.view import View
from dashboard.words import count, number

__all__ = [
    "PRESSURES",
    "chooser",
    "form_page",
    "gap_panel",
    "problem_panel",
    "steps_panel",
    "tag_panel",
]

PRESSURES = ("marked_burst_pressure", "peak_pressure")
"""Fields that are entered in the reader's unit and kept in bar gauge."""

_ANSWERS = [
    {"value": "", "label": "open"},
    {"value": "yes", "label": "yes"},
    {"value": "no", "label": "no"},
]
_MARKS = {Verdict.MATCHED: "✓", Verdict.STOPPED: "■", Verdict.UNKNOWN: "?"}


def chooser(view: View, keeper: Keeper) -> html.Div:
    """Offer a new record, the drafts, and a blank sheet; list what was signed."""
    open_drafts = drafts(keeper)
    done = {form: len(signed(keeper, form)) for form in Form}
    return html.Div(
        [
            html.Section(
                [
                    html.P("For the crew at the flange", className="for-whom"),
                    html.H1("Record an install or a removal"),
                    html.P(
                        f"{count(done[Form.INSTALL], 'install').capitalize()} and"
                        f" {count(done[Form.REMOVAL], 'removal')} signed here so far. They enter"
                        " the logs at the next reading."
                    ),
                ],
                className="answer",
            ),
            html.Div(
                [
                    page_link(name, address("record", path), className="large-link")
                    for name, path in (
                        ("Record an install", "install"),
                        ("Record a removal", "removal"),
                    )
                ],
                className="large-links editors",
            ),
            section(
                "Drafts",
                html.Ul([html.Li(page_link(name, address("record", name))) for name in open_drafts])
                if open_drafts
                else message("No draft is open."),
            ),
        ]
    )


def form_page(view: View, keeper: Keeper, plant: Plant, name: str) -> html.Div:
    """Show the form of a new record, or of a draft with what it holds."""
    kept = draft(keeper, name)
    if kept:
        form, entries = kept
    elif name in ("install", "removal"):
        form, entries = Form[name.upper()], {}
    else:
        return html.Div([html.H1("No such draft"), message("It may have been signed already.")])
    parts = (
        _install(view, plant, entries) if form is Form.INSTALL else _removal(view, plant, entries)
    )
    return html.Div(
        [
            html.H1(f"Record {'an install' if form is Form.INSTALL else 'a removal'}"),
            dcc.Store(id=ids.RECORD, data={"form": form.value, "name": name if kept else None}),
            *parts,
            section(
                "Sign off",
                _entry("signed_by", "Your name", entries),
                html.Div(id=ids.RECORD_PROBLEMS),
                html.Div(
                    [
                        html.Button("Save as a draft", id=ids.SAVE_DRAFT, className="act quiet"),
                        html.Button("Sign off", id=ids.SIGN_OFF, className="act"),
                        html.Button(
                            "Print this sheet", type="button", className="act quiet print no-print"
                        ),
                    ],
                    className="acts",
                ),
                html.Div(id=ids.RECORD_SAID, role="status"),
            ),
        ],
        className="record",
    )


def tag_panel(matches: tuple[Match, ...], piece: str = "") -> html.Div:
    """Show every line of the tag beside what the position needs, and which piece is taken."""
    rows = [
        html.Tr(
            [
                html.Td(match.what),
                html.Td(match.required or "not on record"),
                html.Td(match.read or "not read"),
                html.Td([html.Strong(_MARKS[match.verdict]), f" {match.verdict.value}"]),
                html.Td(match.reason),
            ],
            className=match.verdict.name.lower(),
        )
        for match in matches
    ]
    head = html.Tr([html.Th(name, scope="col") for name in ("", "Needed", "On the tag", "", "Why")])
    verdict = (
        "The tag matches. The disc may be fitted."
        if may_be_fitted(matches)
        else "Stop. Do not fit this disc until every line matches, or the responsible engineer"
        " has decided in writing."
    )
    return html.Div(
        [
            html.P(verdict, className="go" if may_be_fitted(matches) else "stop"),
            html.Div(
                html.Table([html.Thead(head), html.Tbody(rows)]),
                className="scrolled",
                tabIndex=0,
                role="region",
                **{"aria-label": "The tag against the position"},
            ),
            html.P(piece) if piece else None,
        ]
    )


def steps_panel(target: object, steps: str) -> html.P:
    """Say the torque of each step to the maker's target."""
    if not isinstance(target, int | float) or not target > 0:
        return message("Enter the maker's torque; the steps are worked out from it.")
    try:
        torques = step_torques(float(target), tuple(float(step) for step in steps.split("/")))
    except ValueError as error:
        return message(f"These steps cannot be used: {error}.")
    return html.P(f"Criss-cross, in turn: {', '.join(number(torque) for torque in torques)} N.m.")


def gap_panel(entries: dict[str, Any]) -> html.P:
    """Say the spread of the gap after each step that is read in full."""
    spreads = [
        f"step {step}: {spread:.3g} mm"
        for step, spread in enumerate(gap_spreads(entries), start=1)
        if spread is not None
    ]
    if not spreads:
        return message("Read the gap at four points after every step; the spread shows here.")
    return html.P(f"Largest less smallest gap, {', '.join(spreads)}.")


def problem_panel(problems: list[Problem]) -> html.Div:
    """List what is still open before the record can be signed."""
    if not problems:
        return html.Div(html.P("Nothing is open.", className="go"))
    return html.Div(
        [
            html.P(f"{count(len(problems), 'thing').capitalize()} still open:"),
            html.Ul([html.Li(problem.mend) for problem in problems]),
        ]
    )


def _install(view: View, plant: Plant, entries: dict[str, Any]) -> list[html.Section]:
    pressure = f"{view.units.pressure.value}g"
    shown = _in_units(entries, view.units)
    return [
        section(
            "1. Where, when, who",
            _grid(
                _position(plant, entries),
                _entry("installed_on", "Day of fitting, e.g. 2026-10-01", entries),
                _entry("crew", "Crew", entries),
                _entry("holder_id", "Holder number", entries),
            ),
        ),
        section(
            "2. The tag, as you read it",
            _grid(
                _entry("disc_code", "Disc code", entries),
                _choice("family", "Type", list(FAMILIES), entries),
                _entry("nominal_size", "Size", entries),
                _number_entry(
                    "marked_burst_pressure", f"Marked burst pressure [{pressure}]", shown
                ),
                _number_entry("coincident_temperature", "Temperature [degC]", entries),
                _entry("lot", "Lot", entries),
                _piece(plant, entries),
            ),
            html.Div(id=ids.TAG_PANEL),
        ),
        section("3. The checks", *(_check(check, entries) for check in CHECKS[1:])),
        section(
            "4. Torque, as the maker states it",
            _grid(
                _number_entry("torque_target", "The maker's torque [N.m]", entries),
                _entry("torque_steps", "Steps in percent", {"torque_steps": STEPS} | entries),
                _number_entry("torque_applied", "Torque at the last step [N.m]", entries),
            ),
            html.Div(id=ids.STEPS_PANEL),
            note="The target is the maker's for this holder and lubrication, never a guess.",
        ),
        section(
            "5. The gap at four points [mm]",
            *(_gap_row(step, entries) for step in range(1, 5)),
            html.Div(id=ids.GAP_PANEL),
        ),
        section("6. Photos", _entry("photos", "File names of photos taken", entries)),
    ]


def _removal(view: View, plant: Plant, entries: dict[str, Any]) -> list[html.Section]:
    columns = [
        column
        for column in TABLES["removals"].columns
        if column.name not in ("removal_id", "position_id")
    ]
    return [
        section(
            "What was found",
            _grid(
                _position(plant, entries),
                *(_field(column, _in_units(entries, view.units), view.units) for column in columns),
            ),
            *(html.Div(id=panel) for panel in (ids.TAG_PANEL, ids.STEPS_PANEL, ids.GAP_PANEL)),
        )
    ]


def _in_units(entries: dict[str, Any], units: Units) -> dict[str, Any]:
    kept = {key: entries.get(key) for key in PRESSURES}
    return entries | {
        key: float(f"{value * units.per_bar:.6g}")
        for key, value in kept.items()
        if isinstance(value, int | float)
    }


def _field(column: Column, entries: dict[str, Any], units: Units) -> object:
    label = column.about[:1].upper() + column.about[1:]
    if column.name in PRESSURES:
        label = f"{label} [{units.pressure.value}g]"
    elif column.dimension:
        label = f"{label} [{column.dimension.value}]"
    if column.kind is Kind.CODE:
        return _choice(column.name, label, list(column.allowed), entries)
    if column.kind is Kind.YES_NO:
        return _choice(column.name, label, ["yes", "no"], entries)
    if column.kind in (Kind.NUMBER, Kind.COUNT):
        return _number_entry(column.name, label, entries)
    return _entry(column.name, label, entries)


def _grid(*fields: object) -> html.Div:
    return html.Div(list(fields), className="controls")


def _position(plant: Plant, entries: dict[str, Any]) -> dmc.Select:
    return dmc.Select(
        id=ids.record_id("position_id"),
        label="Position",
        data=plant.positions,
        value=entries.get("position_id"),
        searchable=True,
        limit=200,
        size="lg",
    )


def _piece(plant: Plant, entries: dict[str, Any]) -> dmc.Select:
    """Offer what the stores hold; an empty store is not offered."""
    offered = [piece for piece in plant.pieces() if piece.left > 0]
    choices = [{"value": piece.name, "label": piece.label} for piece in offered]
    return dmc.Select(
        id=ids.record_id("piece"),
        label="Piece taken from the storeroom",
        data=[*choices, {"value": ELSEWHERE, "label": "From elsewhere"}],
        value=entries.get("piece"),
        placeholder="by the lot",
        searchable=True,
        clearable=True,
        limit=200,
        size="lg",
    )


def _entry(name: str, label: str, entries: dict[str, Any]) -> dmc.TextInput:
    return dmc.TextInput(
        id=ids.record_id(name), label=label, value=entries.get(name) or "", size="lg", debounce=300
    )


def _number_entry(name: str, label: str, entries: dict[str, Any]) -> dmc.NumberInput:
    return dmc.NumberInput(
        id=ids.record_id(name),
        label=label,
        value=entries.get(name, ""),
        size="lg",
        hideControls=True,
        debounce=300,
    )


def _choice(name: str, label: str, words: list[str], entries: dict[str, Any]) -> dmc.Select:
    return dmc.Select(
        id=ids.record_id(name),
        label=label,
        data=[{"value": word, "label": word.replace("_", " ")} for word in words],
        value=entries.get(name),
        clearable=True,
        size="lg",
    )


def _check(check: str, entries: dict[str, Any]) -> html.Div:
    about = TABLES["installs"].column(check).about
    return html.Div(
        [
            html.Div(
                [
                    html.Strong(about[:1].upper() + about[1:], id=f"label-{check}"),
                    html.Span(CHECKLIST[check].reason, className="note"),
                ],
                className="what",
            ),
            dmc.SegmentedControl(
                id=ids.record_id(check),
                data=_ANSWERS,
                value=entries.get(check) or "",
                size="lg",
                attributes={"root": {"aria-labelledby": f"label-{check}"}},
            ),
        ],
        className="check",
    )


def _gap_row(step: int, entries: dict[str, Any]) -> html.Div:
    return _grid(
        *(
            _number_entry(f"gap_{step}_{point}", f"Step {step}, point {point}", entries)
            for point in range(1, 5)
        )
    )
