"""What happens when an editor accepts a recommendation: it is noted, and shown as accepted."""

from pathlib import Path
from typing import Any

from dash import ALL, Dash, Input, Output, ctx, no_update

from dashboard import ids
from dashboard.accepting import accepted_of, recommendation
from dashboard.access.door import person
from dashboard.bodies import text_of
from dashboard.changes import Kind, author, note_change
from dashboard.live import Live

__all__ = ["wire_accepting"]


def wire_accepting(app: Dash, live: Live, notes: Path) -> None:
    """Connect the buttons beside recommendations to the list of changes."""

    @app.callback(
        Output(ids.ACCEPTED, "data"),
        Input(ids.accept_id(ALL), "n_clicks"),
        prevent_initial_call=True,
    )
    def accept(_clicks: list[Any]) -> Any:
        """Note the recommendation whose button was pressed, once."""
        asked = ctx.triggered_id
        if not isinstance(asked, dict) or not ctx.triggered[0]["value"]:
            return no_update
        said = recommendation(live.findings, text_of(asked.get("accept")))
        if said and said not in accepted_of(notes):
            account = person()
            who = author(live.findings, account or "this machine", account=account)
            note_change(notes, Kind.RECOMMENDATION, said, who)
        return said or "It is no longer recommended."

    @app.callback(
        Output(ids.accepted_id(ALL), "children"),
        Input(ids.ACCEPTED, "data"),
    )
    def show_accepted(_last: Any) -> list[str]:
        """Say beside each recommendation who accepted it and when."""
        known = accepted_of(notes)
        said = []
        for place in ctx.outputs_list:
            key = text_of(place["id"]["accepted"])
            by = known.get(recommendation(live.findings, key))
            said.append(f"{by.by}, {by.at[:10]}" if by else "")
        return said
