"""What would have been avoided, in sentences with numbers and their limits."""

import pandas as pd

from analytics.early.what_if import BEST, CLEAN, LOWERED
from analytics.estimate import Estimate
from analytics.findings import Findings
from dashboard.words import money, number, percent, within

__all__ = ["CAVEAT", "avoided_answer", "fitting_sentence", "steps_worth"]

CAVEAT = (
    "Each is asked alone and they do not add up: a failure with two defects is avoided by mending"
    " either. A failure that would only have come later in the log is not counted as avoided."
    " Limits are of the expected number; which failures it would have been stays chance."
)


def avoided_answer(findings: Findings) -> list[str]:
    """Say what clean fitting, the best step, the best practice and a lower ratio would avoid."""
    table = findings.what_if
    if table.empty:
        reason = findings.not_answered.get("what would have been avoided") or (
            findings.not_answered.get("installation")
        )
        return [f"These logs cannot say what would have been avoided{_because(reason)}."]
    rows = {str(row["change"]): row for _, row in table.iterrows()}
    said = [
        _clean(rows.get(CLEAN), findings),
        _best_step(table, findings),
        _practice(rows.get(BEST), findings),
        _ratio(rows.get(LOWERED), findings),
    ]
    return [sentence for sentence in said if sentence]


def fitting_sentence(findings: Findings) -> str:
    """Say how well discs were fitted, first and last full year against each other."""
    years = findings.fitting[findings.fitting["of"] == "year"] if len(findings.fitting) else None
    if years is None or len(years) < 2:
        return ""
    last = years[years["name"].astype(int) < findings.export_date.year]
    if len(last) < 2:
        return ""
    first, late = (_estimate(last.iloc[place], "per_100") for place in (0, -1))
    return (
        "By what their install records show, defects add"
        f" {within(late)} failures to the first year of 100 discs fitted in"
        f" {last.iloc[-1]['name']}, against {within(first)} in {last.iloc[0]['name']}."
    )


def steps_worth(findings: Findings) -> str:
    """Say how many failures a year the costliest defect carries, and what they cost."""
    early = findings.installation
    if early is None or early.defects.empty:
        return ""
    worst = early.defects.iloc[0]
    if not worst["failures_owed_low"] > 0:
        return ""
    a_year = within(_estimate(worst, "owed_per_year"))
    worth = _worth(worst, "cost_owed", findings)
    return f"“{worst['about']}” carries {a_year} failures a year{worth and worth + ' in all'}."


def _clean(row: pd.Series | None, findings: Findings) -> str:
    if row is None or pd.isna(row["avoided"]):
        return ""
    failures = (
        f" of {number(row['avoided'] / row['share'])} premature failures" if row["share"] else ""
    )
    if not row["avoided_low"] > 0:
        return (
            f"It is not shown that clean fitting would have avoided any{failures}: at most"
            f" {number(max(row['avoided_high'], 0.0))}."
        )
    both = ""
    if pd.notna(row["avoided_all_unclear"]) and pd.notna(row["avoided_no_unclear"]):
        every, none = number(row["avoided_all_unclear"]), number(row["avoided_no_unclear"])
        both = f" With every unclear ending premature it is {every}, with none {none}."
    return (
        f"Had every disc been fitted clean, {within(_estimate(row, 'avoided'))}{failures} would"
        f" have been avoided over the log ({within(_estimate(row, 'share'), percent)}),"
        f" {within(_estimate(row, 'per_year'))} a year{_worth(row, 'money', findings)}.{both}"
    )


def _best_step(table: pd.DataFrame, findings: Findings) -> str:
    steps = table[~table["change"].isin([CLEAN, BEST, LOWERED])]
    shown = steps[steps["avoided_low"] > 0]
    if shown.empty:
        return ""
    row = shown.iloc[0]
    return (
        f"The one step most worth mending is “{str(row['about']).removeprefix('mended: ')}”:"
        f" {within(_estimate(row, 'avoided'))} avoided{_worth(row, 'money', findings)}."
    )


def _practice(row: pd.Series | None, findings: Findings) -> str:
    if row is None:
        return ""
    if pd.isna(row["avoided"]):
        return f"What the best crews' practice would avoid cannot be said: {row['note']}."
    return (
        "Had every crew fitted as the best quarter does by its records,"
        f" {within(_estimate(row, 'avoided'))} would have been"
        f" avoided{_worth(row, 'money', findings)}."
    )


def _ratio(row: pd.Series | None, findings: Findings) -> str:
    if row is None:
        return ""
    if pd.isna(row["avoided"]):
        return f"What a lower operating ratio would avoid cannot be said: {row['note']}."
    return (
        f"With the {row['about']}, {str(row['note']).removeprefix('lowered ')},"
        f" {within(_estimate(row, 'avoided'))} would have been"
        f" avoided{_worth(row, 'money', findings)}."
    )


def _worth(row: pd.Series, name: str, findings: Findings) -> str:
    """Say what it is worth in money, and how much of it has no price."""
    if not row[name] > 0:
        return ""
    low, high = (
        money(max(row[f"{name}_{end}"], 0.0), findings.currency) for end in ("low", "high")
    )
    unpriced = row["not_priced"]
    without = f"; {number(unpriced)} more have no cost on record" if unpriced >= 0.5 else ""
    return f", worth {money(row[name], findings.currency)} [{low} to {high}]{without}"


def _estimate(row: pd.Series, name: str) -> Estimate:
    return Estimate(estimate=row[name], low=row[f"{name}_low"], high=row[f"{name}_high"])


def _because(reason: str | None) -> str:
    return f": {reason}" if reason else ""
