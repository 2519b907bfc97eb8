"""What came of earlier forecasts: kept beside the logs, shown on the storeroom's page."""

import json
import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd

from analytics.findings import FRAMES, Findings
from analytics.spares.backtest import Backtest
from dashboard.words import count

__all__ = ["keep_past", "past_sentence", "with_past"]

OURS = "discward"


def _file(folder: Path) -> Path:
    return folder / "recorded" / "past_forecasts.json"


def keep_past(folder: Path, found: Backtest, *, weeks: int, version: str) -> None:
    """Keep the scores beside the logs, so that a restart still shows them."""
    rows = found.summary.assign(
        weeks=weeks,
        days=found.rows["cut"].nunique(),
        made_on=f"{datetime.now(UTC):%Y-%m-%d}",
        data_version=version,
    )
    named = rows[FRAMES["past_forecasts"].split()]
    partial = _file(folder).with_suffix(".partial")
    partial.parent.mkdir(exist_ok=True)
    partial.write_text(named.to_json(orient="records"), encoding="utf-8")
    os.replace(partial, _file(folder))


def with_past(findings: Findings, folder: Path | None) -> Findings:
    """Give findings with the scores kept beside their logs, if there are any."""
    if folder is None or not _file(folder).is_file():
        return findings
    try:
        rows = json.loads(_file(folder).read_text(encoding="utf-8"))
        frame = pd.DataFrame(rows, columns=FRAMES["past_forecasts"].split())
    except (ValueError, TypeError):
        return findings  # written by something else
    return replace(findings, past_forecasts=frame)


def past_sentence(findings: Findings) -> str:
    """Say in a sentence how good earlier forecasts were; blank when none were checked."""
    rows = findings.past_forecasts
    ours = rows[rows["method"] == OURS]
    if ours.empty:
        return ""
    row = ours.iloc[0]
    ratio = 100 * (1 - float(row["crps_ratio"]))
    against = f"{ratio:.0f} % nearer than" if ratio >= 0 else f"{-ratio:.0f} % further off than"
    older = row["data_version"] != findings.data_version
    return (
        f"From {count(int(row['days']), 'earlier day')}, {int(row['weeks'])} weeks ahead, the"
        f" forecast came {against} the best of three plain ones (mean CRPS, a distance); what was"
        f" used lay in its 80 % interval {100 * float(row['covered_80']):.0f} % of the time."
        + (" The logs have changed since." if older else "")
    )
