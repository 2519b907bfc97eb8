"""Has the quality of installation changed, where, since when, and which way?

Charts of three families, each held against its own expectation given duty:

- failures: installation failures of all, by site and by crew, each failure counting by the
  installation's share of its hazard, so that wear and duty do not raise the chart;
- records: defects found of checks recorded, of all, by site and by crew, on the day of the
  fitting: it sees a change before any disc bursts;
- lots: premature failures of a lot, for a rise only.

Sites and crews are held against their own level so far: a crew that always worked so raises no
alarm here, it stands among the crews. The level being learnt on the way, false alarms are rarer
than stated, and a change early in a log is seen later than one after a long record.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.change_chart import Chart, Signal, play, rate_ratio
from analytics.early.run_length import delay, threshold_for
from analytics.early.usual_fitting import MONTH_DAYS, Usual, dates, other_failures
from analytics.early.watch_families import Family, Group, failures, of_lots, records
from analytics.early.watched_records import FoundDefects

__all__ = ["FALSE_ALARM_YEARS", "WatchAnswer", "watch"]

FALSE_ALARM_YEARS = 10.0
"""All charts together raise a false alarm once in so many years. Our choice. [years]"""

_FAMILIES = 3
_RECENT_DAYS = 730.0
_SHORTEST_RUN = 20.0
_SLOWEST = 1 / 120
"""A chart that expects less than one in ten years has no delay worth a number. [1/months]"""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchAnswer:
    """What the charts show.

    Attributes
    ----------
    signals, charts, path : DataFrame
        The `watch`, `watch_charts` and `watch_path` frames of findings: one row per change
        seen, one per chart, and the charts month by month.
    """

    signals: pd.DataFrame
    charts: pd.DataFrame
    path: pd.DataFrame


def watch(usual: Usual, found: FoundDefects | None, lots: pd.DataFrame) -> WatchAnswer:
    """Play every chart over the log.

    Parameters
    ----------
    usual : Usual
        Lives held against the fleet's usual fitting.
    found : FoundDefects or None
        Defects found at each fitting; None when there were none.
    lots : DataFrame, one row per lot, one column per month
        As `lots_by_month` gives.

    Returns
    -------
    WatchAnswer
        Signals, charts and their paths. Groups with fewer than five events have no chart.

    Notes
    -----
    Each of the three families may raise a third of the false alarms. Within a family all
    charts have the same run length in expected events, so the alarms are shared out by what
    each chart expects: with E expected a year over all charts of a family that watches s sides,
    each side of each chart gets a run length of 3 s E x 10 years.
    """
    families = [failures(usual), of_lots(usual, lots)]
    if found is not None:
        families.append(records(found, usual))
    parts = [_played(family, usual) for family in families if family.groups]
    signals, charts, path = (
        pd.concat([part[i] for part in parts], ignore_index=True) if parts else pd.DataFrame()
        for i in range(3)
    )
    return WatchAnswer(signals=signals, charts=charts, path=path)


def _played(family: Family, usual: Usual) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """The three frames of one family."""
    run = family.per_year * FALSE_ALARM_YEARS * _FAMILIES * len(family.scores)
    heights = [threshold_for(score, max(run, _SHORTEST_RUN)) for score in family.scores]
    thresholds = (heights[0], heights[1] if len(heights) > 1 else np.inf)
    charts = [
        play(
            group.observed,
            group.expected,
            ratios=family.ratios,
            thresholds=thresholds,
            shape=group.shape,
            speaks=family.speaks,
        )
        for group in family.groups
    ]
    both = list(zip(family.groups, charts, strict=True))
    signals = [_told(family, group, s, usual) for group, chart in both for s in chart.signals]
    return (
        pd.DataFrame(signals),
        _chart_rows(family, both, thresholds),
        pd.concat(
            [_path(family, group, chart, thresholds, usual) for group, chart in both],
            ignore_index=True,
        ),
    )


def _told(family: Family, group: Group, signal: Signal, usual: Usual) -> dict[str, object]:
    """One row of the `watch` frame."""
    window = (float(group.day[signal.since]), float(group.day[signal.until]))
    ratio, low, high = rate_ratio(signal.observed, max(signal.expected, 1e-9), signal.before)
    others = (np.nan, np.nan)
    if group.members is not None:
        level = np.full(len(usual.lives), group.level)
        others = other_failures(usual, group.members, level, window)
    since, on, until = dates(usual.begins, np.array([*window, group.day[signal.signalled]]))[
        [0, 2, 1]
    ]
    return {
        "chart": family.name,
        "kind": group.kind,
        "group": group.name,
        "direction": "rose" if signal.rose else "fell",
        "since": since,
        "signalled_on": on,
        "until": until,
        "still": signal.still,
        "observed": signal.observed,
        "expected": signal.expected,
        "rate_ratio": ratio,
        "low": low,
        "high": high,
        "other_observed": others[0],
        "other_expected": others[1],
        "wear_too": _odd(*others),
    }


def _odd(observed: float, expected: float) -> bool | None:
    """Whether a count lies beyond the 95 % limits of what is expected; None where unknown."""
    if not expected > 0:
        return None
    _, low, high = rate_ratio(observed, expected)
    return not low <= 1 <= high


def _chart_rows(
    family: Family, both: list[tuple[Group, Chart]], thresholds: tuple[float, float]
) -> pd.DataFrame:
    """The `watch_charts` frame: how large each chart is and how soon it would see a change."""
    groups = [group for group, _ in both]
    pace = np.array([_pace(group) for group in groups])
    waits = np.full((2, len(groups)), np.nan)
    going = pace > _SLOWEST
    for row, score, height in zip(waits, family.scores, thresholds, strict=False):
        row[going] = delay(score, height, pace[going], family.reached)[0] if going.any() else []
    return pd.DataFrame(
        {
            "chart": family.name,
            "kind": [group.kind for group in groups],
            "group": [group.name for group in groups],
            "events": [group.events for group in groups],
            "per_year": 12 * pace,
            "rise": [float(chart.rise[-1]) / thresholds[0] for _, chart in both],
            "fall": [float(chart.fall[-1]) / thresholds[1] for _, chart in both],
            "months_to_rise": waits[0],
            "months_to_fall": waits[1],
        }
    )


def _pace(group: Group) -> float:
    """Expected a month over the last two years. [1/months]"""
    recent = group.day > group.day[-1] - _RECENT_DAYS
    months = min(_RECENT_DAYS, float(group.day[-1])) / MONTH_DAYS
    return group.level * float(group.expected[recent].sum()) / max(months, 1.0)


def _path(
    family: Family,
    group: Group,
    chart: Chart,
    thresholds: tuple[float, float],
    usual: Usual,
) -> pd.DataFrame:
    """The chart at each month's end."""
    at = np.searchsorted(group.day, usual.edges, side="right") - 1
    at = np.maximum(at, 0)
    observed = np.cumsum(group.observed)[at]
    expected = group.level * np.cumsum(group.expected)[at]
    return pd.DataFrame(
        {
            "chart": family.name,
            "kind": group.kind,
            "group": group.name,
            "on": dates(usual.begins, usual.edges),
            "observed": observed,
            "expected": expected,
            "difference": observed - expected,
            "rise": chart.rise[at] / thresholds[0],
            "fall": chart.fall[at] / thresholds[1],
        }
    )
