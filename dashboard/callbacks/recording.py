"""What happens as a record is filled in: look again, keep it, sign it off."""

from collections.abc import Callable
from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from analytics.errors import InputError
from analytics.installs.tag import may_be_fitted
from dashboard import ids
from dashboard.access.door import person
from dashboard.bodies import text_of
from dashboard.changes import author
from dashboard.components.blocks import message
from dashboard.pages import record
from dashboard.reading import Units
from dashboard.recording.asking import Plant
from dashboard.recording.forms import Form, problems_of
from dashboard.recording.keeping import Keeper, new_id, save_draft, sign
from dashboard.recording.taking import piece_problem, piece_said
from dashboard.view import View

__all__ = ["entries_of", "wire_recording"]

_LONGEST = 2_000


def wire_recording(
    app: Dash, look: Callable[[str | None], View], keeper: Keeper, plant: Plant
) -> None:
    """Connect the form to the log folder it records into."""
    everything = (
        State(ids.record_id(ALL), "id"),
        State(ids.URL, "search"),
        State(ids.RECORD, "data"),
    )

    @app.callback(
        Output(ids.TAG_PANEL, "children"),
        Output(ids.STEPS_PANEL, "children"),
        Output(ids.GAP_PANEL, "children"),
        Input(ids.record_id(ALL), "value"),
        *everything,
    )
    def look_again(values: list[Any], names: list[Any], search: Any, about: Any) -> Any:
        """Match the tag, work out the steps and the spread of the gap anew."""
        if _form(about) is not Form.INSTALL:
            return no_update
        units = look(text_of(search)).units
        entries = entries_of(names, values, units)
        steps = text_of(entries.get("torque_steps"))
        tag = (
            record.tag_panel(
                plant.matches(entries, units.gauge), piece_said(entries, plant.pieces())
            )
            if entries.get("position_id")
            else message("Choose the position first.")
        )
        panel = record.steps_panel(entries.get("torque_target"), steps)
        return tag, panel, record.gap_panel(entries)

    @app.callback(
        Output(ids.RECORD_PROBLEMS, "children"),
        Input(ids.record_id(ALL), "value"),
        *everything,
    )
    def list_open_points(values: list[Any], names: list[Any], search: Any, about: Any) -> Any:
        """List what is still open before signing."""
        entries = _judged(
            plant, _form(about), entries_of(names, values, look(text_of(search)).units)
        )
        return record.problem_panel(_problems(plant, _form(about), entries))

    @app.callback(
        Output(ids.RECORD_SAID, "children"),
        Output(ids.RECORD, "data"),
        Input(ids.SAVE_DRAFT, "n_clicks"),
        Input(ids.SIGN_OFF, "n_clicks"),
        State(ids.record_id(ALL), "value"),
        *everything,
        prevent_initial_call=True,
    )
    def keep(
        _saved: Any, _signed: Any, values: list[Any], names: list[Any], search: Any, about: Any
    ) -> Any:
        """Keep the record as a draft, or sign it off into the log table."""
        if not ctx.triggered_id or not ctx.triggered[0]["value"]:
            return no_update
        form = _form(about)
        entries = _judged(plant, form, entries_of(names, values, look(text_of(search)).units))
        known = text_of(about.get("name")) if isinstance(about, dict) else ""
        name = known or new_id(form)
        who = author(look("").whole, "", account=person())
        try:
            if ctx.triggered_id == ids.SAVE_DRAFT:
                save_draft(keeper, form, name, entries)
                said = f"Kept as draft {name}."
            elif problems := _problems(plant, form, entries):
                raise InputError(f"Not signed: {problems[0].mend}")
            else:
                sign(keeper, form, name, entries, who=who, plant=plant)
                said = f"Signed off as {name}."
        except InputError as error:
            return html.P(str(error), className="stop"), no_update
        return html.P(said, className="go"), {"form": form.value, "name": name}


def entries_of(names: list[Any], values: list[Any], units: Units) -> dict[str, Any]:
    """Collect the entries by field, pressures back in bar, texts cut to a sane length."""
    entries: dict[str, Any] = {}
    for name, value in zip(names, values, strict=False):
        key = text_of(name.get("record")) if isinstance(name, dict) else ""
        if isinstance(value, str):
            entries[key] = text_of(value)[:_LONGEST]
        elif isinstance(value, int | float) and not isinstance(value, bool):
            entries[key] = value
    for key in record.PRESSURES:
        if isinstance(pressure := entries.get(key), int | float):
            entries[key] = pressure / units.per_bar
    return entries


def _form(about: Any) -> Form:
    words = {form.value: form for form in Form}
    word = text_of(about.get("form")) if isinstance(about, dict) else ""
    return words.get(word, Form.INSTALL)


def _judged(plant: Plant, form: Form, entries: dict[str, Any]) -> dict[str, Any]:
    """Fill in what the form works out itself: whether the tag matches."""
    if form is not Form.INSTALL:
        return entries
    fits = bool(entries.get("position_id")) and may_be_fitted(plant.matches(entries))
    return entries | {"tag_matches": "yes" if fits else "no"}


def _problems(plant: Plant, form: Form, entries: dict[str, Any]) -> list[record.Problem]:
    key = f"{form.value.removesuffix('s')}_id"
    problems = problems_of(form, entries | {key: "new"})
    if form is not Form.INSTALL:
        return problems
    if missing := piece_problem(entries, plant.pieces()):
        problems.append(record.Problem(field="piece", mend=missing))
    if entries.get("tag_matches") != "yes":
        stop = "the tag does not match: fit the disc the position needs"
        problems.insert(0, record.Problem(field="tag_matches", mend=stop))
    return problems
