"""The `discward` command: every job from a shell, with one clear line when it cannot be done.

Exit codes: 0 done, 1 findings or rows need attention (with --strict), 2 unusable input.
"""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from analytics.duty.damage import MeanCorrection
from analytics.errors import DiscwardError, InputError
from analytics.findings import Findings
from dashboard.access.people import Access
from dashboard.access.place import Place
from dashboard.people_command import app as people_app
from dashboard.printing import backtest_tables, emit, print_findings, print_table, say

__all__ = ["app", "main"]

NEEDS_ATTENTION = 1
UNUSABLE = 2
DEMO_FOLDER = Path("demo-logs")

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="How bursting discs were fitted, how long they lived, when to replace them, "
    "how many spares to hold.",
)
app.add_typer(people_app, name="people")
complain = Console(stderr=True, soft_wrap=True, highlight=False)

Logs = Annotated[Path, typer.Argument(help="Folder with one file per log table.")]
Strict = Annotated[bool, typer.Option(help="Exit with 1 when something needs attention.")]
Port = Annotated[int, typer.Option(min=0, max=65535, help="Port on 127.0.0.1.")]
Keep = Annotated[
    Path | None,
    typer.Option(
        help="Folder for tallies of the pressure history, so that only new files are read."
    ),
]
Cluster = Annotated[
    str | None, typer.Option(help="Dask scheduler whose workers read the pressure history.")
]
Host = Annotated[str, typer.Option(help="Where to listen; elsewhere than here needs people.")]
AskedBy = Annotated[
    list[str] | None,
    typer.Option(help="Name it is asked for by from other machines; may be given again."),
]
BehindTls = Annotated[bool, typer.Option(help="A TLS proxy stands in front.")]
Insecure = Annotated[bool, typer.Option(help="Let passwords travel without TLS, knowingly.")]
Open = Annotated[
    bool,
    typer.Option(
        "--open",
        help="No link, no log-in: anybody and any program on this machine may read and write.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of a table.")]


def main() -> None:
    """Run the command; an unusable input ends with one line and exit code 2."""
    try:
        app()
    except DiscwardError as error:
        complain.print(f"discward: {error}", markup=False)
        sys.exit(UNUSABLE)


@app.command()
def demo(
    folder: Annotated[Path, typer.Option(help="Where the demo logs go.")] = DEMO_FOLDER,
    serve: Annotated[bool, typer.Option(help="Serve the dashboard afterwards.")] = True,
    port: Port = 8050,
    open_here: Open = False,
) -> None:
    """Make the demo logs, run the whole job, print the findings, serve the dashboard."""
    from datasets.demo import make_demo

    if not (folder / "logs.toml").exists():
        if folder.exists() and any(folder.iterdir()):
            raise InputError(f"demo folder must be new, empty or a demo, got {folder}")
        with say.status("making the demo logs"):
            make_demo(folder)
    findings = _run(folder)
    print_findings(findings)
    if serve:
        from dashboard.access.start import admit

        place = Place(port=port, open_here=open_here)
        _serve(findings, folder, place, admit(folder, place))


@app.command()
def check(
    logs: Logs,
    strict: Strict = False,
    propose: Annotated[bool, typer.Option(help="Draft a logs.toml instead.")] = False,
) -> None:
    """Read and check the logs: what was accepted, what was set aside, and what would mend it."""
    from analytics.logs import proposing, reading

    if propose:
        print(proposing.propose(logs))
        return
    with say.status("reading the logs") as status:
        checked = reading.read_logs(
            logs, progress=lambda step, share: status.update(f"{step} ({share:.0%})")
        )
    print_table("Rows", checked.rows)
    set_aside = checked.quarantine
    if len(set_aside):
        by_reason = set_aside.groupby(["table", "reason"], as_index=False).agg(
            rows=("line", "size"), first_line=("line", "first"), mend=("mend", "first")
        )
        print_table("Set aside", by_reason)
    for note in checked.notes:
        say.print(f"note: {note}", markup=False)
    if strict and len(set_aside):
        raise typer.Exit(NEEDS_ATTENTION)


@app.command()
def analyse(
    logs: Logs,
    out: Annotated[Path, typer.Option(help="Folder for the tables, findings.json, report.html.")],
    strict: Strict = False,
    keep: Keep = None,
    cluster: Cluster = None,
) -> None:
    """Run the whole job and write its tables, findings.json and a printable report."""
    from analytics.findings_json import findings_json
    from analytics.logs.exporting import export_frame
    from dashboard.report import write_report
    from dashboard.table_list import TABLES

    findings = _run(logs, keep, cluster)
    out.mkdir(parents=True, exist_ok=True)
    for table in TABLES.values():
        export_frame(table.rows(findings), out / f"{table.key}.csv")
    (out / "findings.json").write_text(findings_json(findings), encoding="utf-8")
    write_report(findings, out / "report.html")
    print_findings(findings)
    say.print(f"written to {out}", markup=False)
    urgent = len(findings.quarantine) or len(findings.dangerous)
    if strict and urgent:
        raise typer.Exit(NEEDS_ATTENTION)


@app.command()
def serve(
    logs: Logs,
    port: Port = 8050,
    keep: Keep = None,
    cluster: Cluster = None,
    host: Host = "127.0.0.1",
    asked_by: AskedBy = None,
    behind_tls: BehindTls = False,
    insecure: Insecure = False,
    open_here: Open = False,
) -> None:
    """Run the whole job and serve the dashboard, to this machine unless told otherwise."""
    from dashboard.access.start import admit

    place = Place(
        host=host,
        port=port,
        asked_by=tuple(asked_by or ()),
        behind_tls=behind_tls,
        insecure=insecure,
        open_here=open_here,
    )
    access = admit(logs, place)
    _serve(_run(logs, keep, cluster), logs, place, access)


@app.command()
def life(
    table: Annotated[Path, typer.Argument(help="CSV: entry, lower, upper, weight, covariates.")],
    family: Annotated[str, typer.Option(help="weibull, lognormal, loglogistic, exponential.")],
    covariates: Annotated[str, typer.Option(help="Column names joined by commas.")] = "",
    as_json: AsJson = False,
) -> None:
    """Fit one life distribution or regression to a table of lives."""
    from analytics.survival import life_table

    names = tuple(name.strip() for name in covariates.split(",") if name.strip())
    rows = life_table.read_life_table(_text(table), names)
    found = life_table.life_findings(rows, life_table.family_named(family), names)
    emit(found, as_json)


@app.command()
def cycles(
    series: Annotated[Path, typer.Argument(help="CSV with a column `pressure`.")],
    threshold: Annotated[
        float, typer.Option(min=0.0, help="Least range that is counted, unit of the series.")
    ] = 0.0,
    cycles_to_failure: Annotated[
        float | None,
        typer.Option(help="Cycles to failure at a range of 1: adds up the fatigue life used."),
    ] = None,
    slope: Annotated[
        float | None, typer.Option(help="Power of the range by which that number falls.")
    ] = None,
    mean_correction: Annotated[
        MeanCorrection, typer.Option(help="How the mean of a cycle changes its harm.")
    ] = MeanCorrection.NONE,
    burst_pressure: Annotated[
        float | None, typer.Option(help="Ultimate strength that goodman needs.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Count the rainflow cycles of a pressure series and, given a curve, their damage."""
    from analytics.duty import cycles as counting

    found = counting.cycles_findings(counting.read_series(str(series)), threshold=threshold)
    if cycles_to_failure is not None or slope is not None:
        found["damage"] = counting.damage_findings(
            found, cycles_to_failure, slope, mean_correction, burst_pressure
        )
    emit(found, as_json)


@app.command()
def trend(
    events: Annotated[Path, typer.Argument(help="CSV with a column `time`, or `system` and it.")],
    end: Annotated[float | None, typer.Option(help="End of observation; none: last event.")] = None,
    as_json: AsJson = False,
) -> None:
    """Test whether failures of repaired systems come faster or slower with time."""
    from analytics.survival.trend import trend_findings
    from analytics.survival.trend_log import read_trend_events

    emit(trend_findings(read_trend_events(events), end), as_json)


@app.command()
def backtest(
    logs: Logs,
    weeks: Annotated[int, typer.Option(help="Weeks each forecast speaks of.")] = 52,
    cuts: Annotated[int, typer.Option(help="How many earlier days to forecast from.")] = 5,
    as_json: AsJson = False,
    out: Annotated[Path | None, typer.Option(help="Folder for the tables as CSV.")] = None,
) -> None:
    """Forecast spares from earlier days; compare with what was used and what it would have cost."""
    from analytics.backtest import backtest_logs
    from analytics.job import N_DRAWS, SEED
    from analytics.logs.exporting import export_frame
    from analytics.logs.reading import read_logs
    from dashboard.past_stock import late_table, past_stock_table, past_stock_words

    with say.status("reading the logs") as status:
        checked = read_logs(logs)
        found = backtest_logs(
            checked,
            horizon_weeks=weeks,
            most_cuts=cuts,
            n_draws=N_DRAWS,
            seed=SEED,
            tell=lambda step: status.update(step),
        )
    tables = {
        "summary": found.summary,
        "rows": found.rows.assign(cut=found.rows["cut"].dt.strftime("%Y-%m-%d")),
        "policy": found.policy,
    }
    if out:
        out.mkdir(parents=True, exist_ok=True)
        for name, table in tables.items():
            export_frame(table, out / f"backtest-{name}.csv")
    if as_json:
        print(json.dumps({name: table.to_dict("records") for name, table in tables.items()}))
        return
    totals, scores = backtest_tables(found)
    print_table(f"Discs used within {weeks} weeks of each day, and what was forecast", totals)
    print_table("Scores, mean over stores, disc codes and days (CRPS: smaller is better)", scores)
    currency = checked.settings.currency
    for line in past_stock_words(found.policy, currency):
        say.print(line, markup=False)
    print_table("What stock levels would have done", past_stock_table(found.policy, currency))
    late = late_table(found.policy)
    if len(late):
        print_table("Where levels from the forecasts would have been short, worst first", late)


@app.command()
def selfcheck(strict: Strict = False) -> None:
    """Recompute published values on this machine and print them with their sources."""
    from analytics.reference import report_lines
    from analytics.reference import selfcheck as recompute
    from datasets.reference import folder

    checks = recompute(folder())
    for line in report_lines(checks):
        say.print(line, markup=False)
    wrong = int((~checks["ok"]).sum())
    say.print(f"{len(checks) - wrong} of {len(checks)} values agree")
    if wrong:
        raise typer.Exit(NEEDS_ATTENTION)


@app.command()
def template(
    folder: Annotated[Path, typer.Argument(help="A new folder for the empty log files.")],
) -> None:
    """Write an empty file per log table, its headers filled in, with an example."""
    from analytics.logs.templates import write_templates

    write_templates(folder)
    say.print(f"written to {folder}", markup=False)


@app.command(name="import")
def import_(
    logs: Logs,
    store: Annotated[str, typer.Option(help="Store file, or postgresql://user@host/database.")],
    by: Annotated[str, typer.Option(help="Who imports.")],
) -> None:
    """Add the logs to a store that keeps every row, import and correction."""
    from analytics.logs.store.importing import import_logs
    from analytics.logs.store.opening import open_store

    done = import_logs(open_store(store), logs, by=by)
    again = "; the store held exactly this import before" if done.repeated else ""
    say.print(
        f"import {done.import_id}: {done.read} rows read, {done.new} new, {done.known} known{again}"
    )


@app.command()
def trace(
    store: Annotated[str, typer.Argument(help="Store file, or its address.")],
    table: Annotated[str, typer.Argument(help="Log table, such as installs.")],
    key: Annotated[str, typer.Argument(help="The row's own number, such as I00042.")],
) -> None:
    """Follow a row of a store back to its files and lines, and through its corrections."""
    from analytics.logs.store.opening import open_store
    from analytics.logs.store.tracing import trace_key

    found = trace_key(open_store(store), table, key)
    if not found:
        raise InputError(f"the store holds no row {key!r} in {table}")
    for row in found:
        say.print(row, markup=False)


def _run(folder: Path, keep: Path | None = None, cluster: str | None = None) -> Findings:
    from analytics.job import run

    with say.status("reading the logs") as status:
        return run(folder, keep_in=keep, cluster=cluster, tell=lambda step: status.update(step))


def _serve(findings: Findings, logs: Path, place: Place, access: Access | None) -> None:
    from dashboard.access.start import start

    start(findings, logs, place, access, tell=lambda said: say.print(said, markup=False))


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path} must be a readable UTF-8 CSV file: {error}") from None
