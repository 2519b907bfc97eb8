"""Does this machine compute what was published? Every check, run and laid out."""

from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd

from analytics.reference.check import Check
from analytics.reference.cycles import cycle_checks
from analytics.reference.few_failures import few_failure_checks, rank_checks
from analytics.reference.forecasts import forecast_checks
from analytics.reference.hazard_ratios import cox_checks
from analytics.reference.life_curves import curve_checks, incidence_checks, recurrence_checks
from analytics.reference.life_fits import fit_checks
from analytics.reference.regressions import regression_checks
from analytics.reference.replacements import renewal_checks, replacement_checks
from analytics.reference.second_opinion import second_opinion_checks
from analytics.reference.stocks import network_checks, stock_checks
from analytics.reference.trends import trend_checks
from analytics.reference.two_by_two import two_by_two_checks

__all__ = ["TOPICS", "report_lines", "selfcheck"]

Topic = Callable[[Path], list[Check]]

TOPICS: tuple[Topic, ...] = (
    fit_checks,
    curve_checks,
    incidence_checks,
    recurrence_checks,
    regression_checks,
    cox_checks,
    trend_checks,
    few_failure_checks,
    rank_checks,
    renewal_checks,
    replacement_checks,
    stock_checks,
    network_checks,
    cycle_checks,
    forecast_checks,
    second_opinion_checks,
    two_by_two_checks,
)


def selfcheck(tables: Path, topics: Sequence[Topic] = TOPICS) -> pd.DataFrame:
    """Recompute published values and lay them beside what was expected.

    Parameters
    ----------
    tables : Path
        Folder of the published tables, `datasets.reference.folder()`.
    topics : sequence of callable, optional
        Checks to run, each from the folder to a list of checks.

    Returns
    -------
    DataFrame
        `topic value computed expected tolerance ok source`, one row per number. A topic that
        cannot be computed at all is one row that is not ok, with the reason as its value.
    """
    checks = [check for topic in topics for check in _run(topic, tables)]
    columns = ["topic", "value", "computed", "expected", "tolerance", "ok", "source"]
    rows = [[getattr(check, name) for name in columns] for check in checks]
    return pd.DataFrame(rows, columns=columns)


def report_lines(checks: pd.DataFrame) -> list[str]:
    """Lay the checks out for reading: per topic its source, then each value.

    Parameters
    ----------
    checks : DataFrame
        From `selfcheck`.

    Returns
    -------
    list of str
        One line per topic and per value.
    """
    lines: list[str] = []
    for (topic, source), group in checks.groupby(["topic", "source"], sort=False):
        lines += [f"{topic}  [{source}]"]
        lines += [
            f"  {'ok ' if one.ok else 'NOT'}  {one.value}: {one.computed:.10g}, "
            f"expected {one.expected:.10g} within {one.tolerance:.2g}"
            for one in group.itertuples(index=False)
        ]
    return lines


def _run(topic: Topic, tables: Path) -> list[Check]:
    # Whatever goes wrong in one topic is a finding about this machine, not the end of the check.
    try:
        return topic(tables)
    except Exception as error:
        name = getattr(topic, "__name__", "check").replace("_", " ")
        nan = float("nan")
        return [
            Check(
                topic=name,
                value=f"cannot be computed here: {type(error).__name__}: {error}",
                computed=nan,
                expected=nan,
                tolerance=0.0,
                source="-",
            )
        ]
