"""Jobs from the browser: ask, watch, cancel."""

from functools import partial
from pathlib import Path
from typing import Any

from dash import Dash, Input, Output, ctx, html, no_update

from dashboard import ids
from dashboard.access.door import person
from dashboard.jobs.ledger import Job, State, history
from dashboard.jobs.work import works
from dashboard.jobs.worker import Worker
from dashboard.live import Live

__all__ = ["job_list", "wire_reading_again"]


ASK_FOR = {ids.READ_AGAIN: "read", ids.SCAN: "scan", ids.PAST: "past"}
"""Buttons and the kind of job each asks for."""


def wire_reading_again(app: Dash, live: Live, worker: Worker, logs: Path) -> None:
    """Connect the section on the logs' page that asks for jobs and lists them."""
    kinds = works(live, logs)

    @app.callback(
        Output(ids.ASKED, "children"),
        *(Input(button, "n_clicks") for button in ASK_FOR),
        prevent_initial_call=True,
    )
    def ask_for_it(*_clicks: Any) -> Any:
        """Start the job whose button was pressed, unless one is under way."""
        asked = ctx.triggered_id
        if asked not in ASK_FOR or not ctx.triggered[0]["value"]:
            return no_update
        kind = kinds[ASK_FOR[asked]]
        account = person()
        by = account or "this machine"
        started = worker.start(kind.what, partial(kind.act, by, account), by=by)
        return "" if started else "Another job is under way; one runs at a time."

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
        return html.Div(html.P("No job was asked for so far.", className="nothing"))
    rows = [
        html.Tr(
            [
                html.Td(job.asked_at.replace("T", " ")[:19], className="unbroken"),
                html.Td(job.asked_by),
                html.Td(job.what),
                html.Td(job.state.value),
                html.Td(job.said if job.state is not State.DONE else [job.said, " ", _see_it()]),
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
