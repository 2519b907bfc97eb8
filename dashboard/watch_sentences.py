"""What changed in the quality of installation, in plain sentences with their numbers."""

import pandas as pd

from analytics.early.watch import FALSE_ALARM_YEARS
from analytics.estimate import Estimate
from analytics.findings import Findings
from dashboard.declared.watching import CHARTS, MEASURES
from dashboard.words import and_so_on, count, day, number, within

__all__ = ["programme_sentences", "record_next_sentences", "watch_sentences"]

_FEW = 3
_ORDER = ["records", "failures", "lots"]
_LONG_MONTHS = 120.0


def watch_sentences(findings: Findings) -> list[str]:
    """Say what changed, since when and which way, and how far to trust it."""
    charts = findings.watch_charts
    if charts.empty:
        reason = findings.not_answered.get("watching")
        return [f"The quality of installation could not be watched{_because(reason)}."]
    signals = findings.watch
    now = signals[signals["still"].astype(bool)] if len(signals) else signals
    said = [
        sentence
        for chart in _ORDER
        if len(now)
        for sentence in _of_family(now[now["chart"] == chart])
    ]
    if not said:
        said = [f"None of {count(len(charts), 'chart')} shows a change that still holds."]
    over = len(signals) - len(now)
    if over:
        verb = "holds" if over == 1 else "hold"
        said.append(f"{count(over, 'change').capitalize()} seen earlier no longer {verb}.")
    return [*said, _trust(charts)]


def _of_family(rows: pd.DataFrame) -> list[str]:
    """Tell the widest change in full and name the others."""
    if rows.empty:
        return []
    size = rows["kind"].map({"all": 0, "site": 1, "crew": 2, "lot": 3})
    ordered = rows.assign(size=size).sort_values(["size", "signalled_on"], kind="stable")
    first, others = ordered.iloc[0], ordered.iloc[1:]
    said = [_told(first)]
    for direction, alike in others.groupby("direction", sort=False):
        names = and_so_on(alike["group"].astype(str), most=6)
        said.append(f"They {direction} on charts of their own, too: {names}.")
    return said


def _told(row: pd.Series) -> str:
    ratio = Estimate(estimate=row["rate_ratio"], low=row["low"], high=row["high"])
    return (
        f"{_subject(row)}: {number(row['observed'])} since"
        f" {day(row['since'])}, {number(row['expected'])} expected, {within(ratio)} times as many;"
        f" they {row['direction']}, seen on {day(row['signalled_on'])}.{_others(row)}"
    )


def _subject(row: pd.Series) -> str:
    what = CHARTS[row["chart"]]
    if row["chart"] == "lots":
        return f"Failures of lot {row['group']}"
    return what.capitalize() + ("" if row["kind"] == "all" else f" at {row['kind']} {row['group']}")


def _others(row: pd.Series) -> str:
    """Say whether failures by wear changed over the same days."""
    if pd.isna(row["other_expected"]):
        return ""
    seen, awaited = float(row["other_observed"]), float(row["other_expected"])
    verdict = (
        "so look at the duty as well as at the fitting"
        if row["wear_too"]
        else "so it is the fitting, not the duty"
    )
    return (
        f" Failures by wear over the same days: {number(seen)}, {number(awaited)} expected,"
        f" {verdict}."
    )


def _trust(charts: pd.DataFrame) -> str:
    whole = charts[charts["kind"] == "all"].set_index("chart")["months_to_rise"]
    waits = [
        f"in the {CHARTS[chart]} after {number(float(whole[chart]))} months"
        for chart in _ORDER
        if chart in whole and pd.notna(whole[chart])
    ]
    slow = int((charts["months_to_rise"] > _LONG_MONTHS).sum())
    return (
        f"All {count(len(charts), 'chart')} together raise a false alarm at most once in"
        f" {FALSE_ALARM_YEARS:g} years."
        + (
            f" A doubling in the whole fleet is seen {', '.join(waits)} on average."
            if waits
            else ""
        )
        + (
            " Of failures that is a doubling of their rate: where only the discs fitted from then"
            " on are worse, it comes later, for they are few at first."
            if pd.notna(whole.get("failures"))
            else ""
        )
        + (
            f" {count(slow, 'chart').capitalize()} would need more than ten years for it: too few"
            " failures."
            if slow
            else ""
        )
    )


def programme_sentences(findings: Findings) -> list[str]:
    """Say what each programme changed, with the limits before the verdict."""
    rows = findings.programmes
    if rows.empty:
        return []
    said = []
    for (name, start), parts in rows.groupby(["programme", "starts_on"], sort=False):
        told = [_measure(row) for _, row in parts.iterrows()]
        notes = list(dict.fromkeys(note for note in parts["note"] if note))
        tail = "".join(f" {note[:1].upper()}{note[1:]}." for note in notes)
        said.append(f"{name}, from {day(start)}: {'; '.join(told)}.{tail}")
    return said


def _measure(row: pd.Series) -> str:
    """One measure of one programme; the comparison with those outside where there is one."""
    what = MEASURES[row["measure"]]
    key = "net" if pd.notna(row["net"]) else "change"
    if pd.isna(row[key]):
        return f"{what} cannot be compared"
    found = Estimate(estimate=row[key], low=row[f"{key}_low"], high=row[f"{key}_high"])
    against = " against those outside it" if key == "net" else ""
    verdict = "no change is shown"
    if found.high < 1 or found.low > 1:
        verdict = "fewer" if found.high < 1 else "more"
    return f"{what} since are {within(found)} times those before{against}: {verdict}"


def record_next_sentences(findings: Findings) -> list[str]:
    """Say which checks to record and how much narrower the answer would be."""
    rows = findings.record_next
    return [
        f"Record “{row.about}” at each fitting (now on {number(row.recorded_pct)} %): the failures"
        f" owed to it would be known to about [{number(row.then_low)} to {number(row.then_high)}]"
        f" instead of [{number(row.now_low)} to {number(row.now_high)}]."
        for row in rows.head(_FEW).itertuples()
    ]


def _because(reason: str | None) -> str:
    return f": {reason}" if reason else ""
