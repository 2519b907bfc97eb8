"""How the command prints: findings in words, frames as tables, anything as JSON."""

import json
from typing import Any

import pandas as pd
from rich.console import Console

from analytics.findings import Findings
from analytics.spares.backtest import Backtest

__all__ = ["backtest_tables", "emit", "print_findings", "print_table", "say"]

say = Console(soft_wrap=True, highlight=False)


def print_findings(findings: Findings) -> None:
    """Print every page's first answer."""
    from dashboard.summary import summary

    for line in summary(findings):
        say.print(line, markup=False)


def backtest_tables(found: Backtest) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Totals per day and the scores, in the words and width of a terminal."""
    rows = found.rows.assign(day=found.rows["cut"].dt.strftime("%Y-%m-%d"))
    forecast = rows.pivot_table(index="day", columns="method", values="mean", aggfunc="sum")
    used = rows.groupby(["day", "method"])["observed"].sum().groupby("day").first()
    order = ["used", *rows["method"].unique()]
    totals = forecast.assign(used=used)[order].round(1).reset_index()
    covered = {f"covered_{level}": f"{level} %" for level in (50, 80, 95)}
    wanted = {
        "method": "method",
        "bias": "bias",
        "crps": "CRPS",
        "crps_ratio": "to best",
        **covered,
    }
    scores = found.summary[list(wanted)].rename(columns=wanted).round(3)
    return totals.rename_axis(columns=None), scores


def emit(found: dict[str, Any], as_json: bool) -> None:
    """Print a result as JSON or line by line."""
    if as_json:
        print(json.dumps(found, indent=2, allow_nan=False))
        return
    for name, value in found.items():
        if isinstance(value, list) and value and isinstance(value[0], dict):
            print_table(name, pd.DataFrame(value))
        else:
            say.print(f"{name}: {value}", markup=False)


def print_table(title: str, frame: pd.DataFrame) -> None:
    """Print a frame as a table, numbers to the right."""
    from rich.table import Table
    from rich.text import Text

    shown = Table(title=title, title_justify="left")
    for column in frame.columns:
        number = pd.api.types.is_numeric_dtype(frame[column])
        shown.add_column(str(column), justify="right" if number else "left")
    for row in frame.itertuples(index=False):
        shown.add_row(*(Text(_cell(value)) for value in row))
    say.print(shown)


def _cell(value: object) -> str:
    if isinstance(value, float):
        return "" if pd.isna(value) else f"{value:.6g}"
    return "" if value is None or value is pd.NA else str(value)
