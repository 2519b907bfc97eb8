"""The fleet in words: how failures, sites and costs go."""

import pandas as pd

from analytics.estimate import Estimate
from analytics.findings import Findings
from analytics.survival.scores import garwood_limits
from dashboard.sentences import cannot
from dashboard.words import listed, money, number, percent, within

__all__ = ["fleet_answer", "sites_answer"]

_LATE_YEARS = 2


def sites_answer(findings: Findings) -> str:
    """Say which sites have more premature failures than their duty explains."""
    rows = findings.sites
    judged = rows.dropna(subset=["rate_ratio"]) if len(rows) else rows
    if len(judged) < 2:
        return "Too few failures, or too few sites, to compare sites on equal duty."
    worse = judged[judged["flagged"].astype(bool)]
    if worse.empty:
        return (
            f"On equal duty no site stands out: ratios of observed to expected failures from"
            f" {number(judged['rate_ratio'].min())} to {number(judged['rate_ratio'].max())}."
        )
    said = listed(
        f"{row.site} has {number(row.rate_ratio)} [{number(row.low)} to {number(row.high)}] times"
        for row in worse.itertuples()
    )
    return f"{said} the premature failures that its duty explains, more than noise."


def fleet_answer(findings: Findings) -> list[str]:
    """Answer whether premature failures are falling, what they cost and why."""
    fleet = findings.trend[findings.trend["site"] == "all"] if len(findings.trend) else None
    if fleet is None or fleet.empty:
        return [cannot(findings, "trend", "how the fleet is doing")]
    return [
        sentence
        for sentence in (
            _trend_sentence(fleet, findings),
            _cost_sentence(findings),
            _share(findings),
        )
        if sentence
    ]


def _trend_sentence(fleet: pd.DataFrame, findings: Findings) -> str:
    """Compare the last two years with all before them, by pooled rates and exact limits."""
    ordered = fleet[fleet["disc_years"] > 0].sort_values("year")
    if ordered.empty:
        return ""
    late, early = ordered.iloc[-_LATE_YEARS:], ordered.iloc[:-_LATE_YEARS]
    now, before = _pooled(late), _pooled(early)
    open_year = int(late["year"].iloc[-1]) == _first_open_year(findings)
    when = f"{_years(late)}{' so far' if open_year else ''}"
    if before is None or now is None:
        return f"{within(now)} premature failures per 100 disc-years in {when}." if now else ""
    verb = "did not clearly change: they are"
    if now.high < before.low or now.low > before.high:
        verb = "fell to" if now.high < before.low else "rose to"
    return (
        f"Premature failures per 100 disc-years {verb} {within(now)} in {when}, against"
        f" {within(before)} in {_years(early)}."
    )


def _pooled(years: pd.DataFrame) -> Estimate | None:
    if years.empty:
        return None
    count, watched = int(years["premature"].sum()), float(years["disc_years"].sum())
    return garwood_limits(count, exposure=watched / 100)


def _years(rows: pd.DataFrame) -> str:
    first, last = int(rows["year"].iloc[0]), int(rows["year"].iloc[-1])
    if first == last:
        return str(first)
    return f"{first} and {last}" if last == first + 1 else f"{first} to {last}"


def _cost_sentence(findings: Findings) -> str:
    costs = findings.costs
    if costs.empty:
        return ""
    whole_years = costs[costs["year"] < _first_open_year(findings)]
    last = (whole_years if len(whole_years) else costs).sort_values("year").iloc[-1]
    total = float(last["premature_cost"])
    if not total > 0:
        return f"No cost is on record for {int(last['year'])}."
    cost = f"They cost {money(total, findings.currency)} in {int(last['year'])}"
    early = findings.installation
    if early is None or early.share_of_premature.low <= 0:
        return f"{cost}."
    return f"{cost}, {percent(float(last['owed_cost']) / total)} of it owed to installation."


def _first_open_year(findings: Findings) -> int:
    """Give the first year that the logs do not cover to its end."""
    last = findings.export_date
    return last.year + (last.month == 12 and last.day == 31)


def _share(findings: Findings) -> str:
    early = findings.installation
    if early is None or early.share_of_premature.low <= 0:
        return ""
    return (
        f"Over the whole log, {within(early.share_of_premature, percent)} of premature failures"
        " were owed to installation."
    )
