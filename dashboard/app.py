"""The dashboard as a program: built from findings, served on this machine."""

import os
from functools import lru_cache
from pathlib import Path

import dash_ag_grid  # noqa: F401  component libraries register on import, before the app is made
import dash_mantine_components  # noqa: F401
import waitress
from dash import ClientsideFunction, Dash, Input, Output

from analytics.errors import InputError
from analytics.findings import Findings
from dashboard import ids
from dashboard.bodies import well_formed
from dashboard.callbacks.recording import wire_recording
from dashboard.callbacks.wiring import wire
from dashboard.components.shell import frame
from dashboard.gate import LOCAL_HOSTS, guard
from dashboard.narrowing import narrow
from dashboard.pages.listing import list_pages
from dashboard.recording.asking import Plant
from dashboard.recording.keeping import Keeper
from dashboard.selection import from_search, to_search
from dashboard.take import offer_tables
from dashboard.view import View

__all__ = ["build_app", "serve"]

_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}</head>
<body>{%app_entry%}{%config%}{%scripts%}{%renderer%}</body>
</html>"""
_LOOPBACK = {"127.0.0.1", "localhost", "::1"}
_SWITCHES_OF_DASH = ("DASH_DEBUG", "DASH_MCP_ENABLED", "DASH_HOT_RELOAD", "DASH_UI")


def build_app(
    findings: Findings, *, logs: Path | None = None, hosts: tuple[str, ...] = LOCAL_HOSTS
) -> Dash:
    """Build the dashboard over what a job found.

    Parameters
    ----------
    findings : Findings
        What the pages show. It is read, never changed.
    logs : Path or None
        The log folder that installs and removals are recorded into; None leaves
        those pages out.
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
    look = _looker(findings)
    app.layout = frame(findings.title, findings.export_date)
    keeper, plant = (Keeper(logs), Plant(logs)) if logs else (None, None)
    wire(app, look, list_pages(keeper, plant))
    if keeper and plant:
        wire_recording(app, look, keeper, plant)
    app.clientside_callback(
        ClientsideFunction(namespace="discward", function_name="title"),
        Output(ids.TITLE, "modified_timestamp"),
        Input(ids.TITLE, "data"),
    )
    offer_tables(app.server, look)
    guard(
        app.server,
        hosts=hosts,
        script_hashes=app.csp_hashes(),
        is_callback=lambda body: well_formed(body, app.callback_map),
    )
    return app


def serve(app: Dash, host: str = "127.0.0.1", port: int = 8050) -> None:
    """Serve the dashboard until it is stopped.

    Raises
    ------
    InputError
        If `host` is not this machine's loopback address: the dashboard has no log-in yet.
    """
    if host not in _LOOPBACK:
        raise InputError(
            f"host must be a loopback address (127.0.0.1), got {host!r}; to reach it from"
            " elsewhere, forward the port over a secure shell"
        )
    waitress.serve(
        app.server, host=host, port=port, threads=8, connection_limit=1000, ident=None, _quiet=True
    )


def _looker(findings: Findings):  # noqa: ANN202
    @lru_cache(maxsize=64)
    def narrowed(search: str) -> View:
        selection = from_search(search)
        return View(whole=findings, findings=narrow(findings, selection), selection=selection)

    def look(search: str | None) -> View:
        """Give the view of an address's query; equal selections share one."""
        return narrowed(to_search(from_search(search)))

    return look
