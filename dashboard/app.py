"""The dashboard as a program: built from findings, served on this machine."""

import os
from pathlib import Path

import dash_ag_grid  # noqa: F401  component libraries register on import, before the app is made
import dash_mantine_components  # noqa: F401
from dash import ClientsideFunction, Dash, Input, Output

from analytics.findings import Findings
from dashboard import ids
from dashboard.access.door import may, put_door
from dashboard.access.page import offer_people
from dashboard.access.people import Access, Role
from dashboard.bodies import well_formed
from dashboard.bringing.folder import named
from dashboard.bringing.routes import offer_bringing
from dashboard.callbacks.accepting import wire_accepting
from dashboard.callbacks.changes import wire_changes
from dashboard.callbacks.reading_again import wire_reading_again
from dashboard.callbacks.recording import wire_recording
from dashboard.callbacks.showing import wire_pages
from dashboard.callbacks.wiring import wire
from dashboard.changes import changes_file
from dashboard.components.shell import frame
from dashboard.gate import LOCAL_HOSTS, guard
from dashboard.jobs.ledger import open_ledger
from dashboard.jobs.worker import Worker
from dashboard.live import Live
from dashboard.mending.routes import offer_mending
from dashboard.pages.listing import list_pages
from dashboard.past_forecasts import with_past
from dashboard.recording.asking import Plant
from dashboard.recording.keeping import Keeper
from dashboard.serving import serve
from dashboard.take import offer_tables

__all__ = ["build_app", "serve"]

_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}</head>
<body>{%app_entry%}{%config%}{%scripts%}{%renderer%}</body>
</html>"""
_SWITCHES_OF_DASH = ("DASH_DEBUG", "DASH_MCP_ENABLED", "DASH_HOT_RELOAD", "DASH_UI")


def build_app(
    findings: Findings,
    *,
    logs: Path | None = None,
    access: Access | None = None,
    hosts: tuple[str, ...] = LOCAL_HOSTS,
) -> Dash:
    """Build the dashboard over what a job found.

    Parameters
    ----------
    findings : Findings
        What the pages show. It is read, never changed.
    logs : Path or None
        The log folder that installs and removals are recorded into; None, or a folder
        that cannot be written, leaves those pages out.
    access : Access or None
        People and sessions; every route then needs a session. None leaves the
        dashboard open to every program of this machine, and it is served on a
        loopback address only, and only when that is said in so many words.
    hosts : tuple of str
        Names, without port, the dashboard answers to.

    Returns
    -------
    Dash
        The app; `app.server` is its Flask server. Every route stands behind the gate.
    """
    for switch in _SWITCHES_OF_DASH:
        os.environ.pop(switch, None)
    app = Dash(
        "dashboard",
        title="discward",
        update_title="",
        index_string=_PAGE,
        use_pages=False,
        suppress_callback_exceptions=True,
        enable_mcp=False,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    keeper, plant = (
        (Keeper(logs), Plant(logs)) if logs and os.access(logs, os.W_OK) else (None, None)
    )
    folder = keeper.folder if keeper else None
    live = Live(with_past(findings, folder), folder)
    app.layout = lambda: frame(
        live.findings.title,
        live.findings.export_date,
        can_log_out=access is not None,
        role=next(role for role in reversed(Role) if may(role)),
    )
    wire_pages(app, live, list_pages(keeper, plant))
    wire(app, live)
    if keeper and plant:
        wire_recording(app, live.look, keeper, plant)
        worker = Worker(open_ledger(keeper.aside / "jobs.sqlite"))
        brought, notes = keeper.aside / "brought", changes_file(keeper.folder)
        wire_reading_again(app, live, worker, keeper.folder)
        wire_changes(app, app.server, notes)
        wire_accepting(app, live, notes)
        offer_bringing(app.server, live, worker, brought, notes=notes)
        offer_mending(
            app.server,
            live,
            lambda where: live.folder if where == "now" else named(brought, where),
            notes=notes,
        )
    app.clientside_callback(
        ClientsideFunction(namespace="discward", function_name="title"),
        Output(ids.TITLE, "modified_timestamp"),
        Input(ids.TITLE, "data"),
    )
    app.clientside_callback(
        ClientsideFunction(namespace="discward", function_name="fetchAnew"),
        Output(ids.FILTERS, "title"),
        Input(ids.URL, "search"),
        prevent_initial_call=True,
    )
    offer_tables(app.server, live.look)
    guard(
        app.server,
        hosts=hosts,
        script_hashes=app.csp_hashes(),
        is_callback=lambda body: well_formed(body, app.callback_map),
        scheme="https" if access and access.secure else "http",
    )
    if access:
        put_door(app.server, access)
        offer_people(app.server, access, notes=changes_file(folder) if folder else None)
    app.server.config.update(ACCESS=access, HOSTS=hosts)
    return app
