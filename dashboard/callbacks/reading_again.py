"""Read the logs again from the browser: start, watch, cancel."""

from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, html, no_update

from analytics.job import run
from dashboard import ids
from dashboard.access.door import person
from dashboard.jobs.ledger import Job, State, history
from dashboard.jobs.worker import Action, Worker
from dashboard.live import Live

__all__ = ["ASKS", "CANCELS", "job_list", "wire_reading_again"]

ASKS = f"{ids.ASKED}.children"
CANCELS = f"{ids.CANCELLED}.children"
"""Outputs of the two callbacks that need an editor."""


def wire_reading_again(app: Dash, live: Live, worker: Worker, logs: Path) -> None:
    """Connect the section on the logs' page that reads the logs again."""

    def read_again(say: Any) -> None:
        live.show(run(logs, tell=say))

    action: Action = read_again

    @app.callback(
        Output(ids.ASKED, "children"),
        Input(ids.READ_AGAIN, "n_clicks"),
        prevent_initial_call=True,
    )
    def ask_for_it(clicks: Any) -> Any:
        """Start reading the logs again, unless that is under way."""
        if not clicks:
            return no_update
        started = worker.start("read the logs again", action, by=person() or "this machine")
        return "" if started else "It is being read already."

    @app.callback(
        Output(ids.CANCELLED, "children"),
        Input(ids.CANCEL, "n_clicks"),
        prevent_initial_call=True,
    )
    def cancel_it(clicks: Any) -> Any:
        """Stop the running job at its next step."""
        if clicks and worker.is_busy:
            worker.cancel()
            return "It stops at its next step."
        return no_update

    @app.callback(Output(ids.JOBS, "children"), Input(ids.TICK, "n_intervals"))
    def show_jobs(_ticks: Any) -> Any:
        """Show how the jobs stand."""
        return job_list(history(worker.ledger))


def job_list(jobs: list[Job]) -> html.Div:
    """Show the last jobs, newest first, and the way to new findings."""
    if not jobs:
        return html.Div(html.P("Nothing was read again so far.", className="nothing"))
    rows = [
        html.Tr(
            [
                html.Td(job.asked_at.replace("T", " ")[:19], className="unbroken"),
                html.Td(job.asked_by),
                html.Td(job.what),
                html.Td(job.state.value),
                html.Td(job.said if job.state is not State.DONE else _see_it()),
            ]
        )
        for job in jobs
    ]
    names = ("Asked (UTC)", "By", "What", "State", "")
    head = html.Tr([html.Th(name, scope="col") for name in names])
    return html.Div(
        html.Table([html.Thead(head), html.Tbody(rows)]),
        className="scrolled",
        tabIndex=0,
        role="region",
        **{"aria-label": "Jobs"},
    )


def _see_it() -> html.A:
    return html.A("Show the new findings", href="/")
