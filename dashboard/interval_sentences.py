"""The replacement ages in words: which discs, what it saves, what duty does to life."""

import pandas as pd

from analytics.estimate import Estimate
from analytics.findings import Findings
from dashboard.sentences import cannot
from dashboard.words import and_so_on, count, money, number, within

__all__ = [
    "changed_duty_sentence",
    "gain_sentence",
    "intervals_answer",
    "outage_limits",
    "past_cap",
]

_LOWER = 0.95


def intervals_answer(findings: Findings) -> list[str]:
    """Answer which discs to replace sooner, which to keep, and what to ask."""
    rows = findings.intervals
    if rows.empty:
        return [cannot(findings, "intervals", "when to replace")]
    kinds = rows["proposal"].value_counts()
    answer = [
        f"Replace sooner than today at {count(int(kinds.get('shorten', 0)), 'position')}; keep"
        f" today's interval at {int(kinds.get('keep', 0)):,}; ask the responsible engineer"
        f" about {int(kinds.get('ask', 0)):,}.",
        *_under_cap(rows),
    ]
    answer += [_overdue_sentence(findings), _policy_sentence(findings)]
    if findings.wear:
        answer.append(_wear_sentence(findings))
    return [sentence for sentence in answer if sentence]


def _under_cap(rows: pd.DataFrame) -> list[str]:
    """Say where the cap alone speaks, and where there is none."""
    said = []
    held = rows["proposal"].eq("shorten") & rows["age_months"].ge(rows["cap_months"] - 1)
    if held.any():
        said.append(f"{int(held.sum()):,} of the sooner ones only come back under their cap.")
    uncapped = int(rows["cap_months"].isna().sum())
    if uncapped:
        said.append(
            f"{count(uncapped, 'position').capitalize()} {'has' if uncapped == 1 else 'have'} no"
            " cap on record: evidence only, no recommendation."
        )
    return said


def outage_limits(findings: Findings) -> str:
    """Say what the crew limits of the coming outages cost; blank where none binds."""
    groups = findings.outage_groups
    bound = groups[groups["cost"] > 1.001 * groups["cost_without_limits"]]
    return " ".join(
        f"In {row.turnaround_group} the crew limit on record makes the plan"
        f" {money(row.cost - row.cost_without_limits, findings.currency)} dearer than with hands"
        " enough: more discs then need a stop of their own."
        for row in bound.itertuples()
    )


def past_cap(findings: Findings) -> pd.DataFrame:
    """Give the discs past their cap today, furthest first."""
    rows = findings.overdue
    if rows.empty:
        return rows
    past = rows[(rows["limit"] == "cap") & (rows["over_today_months"] > 0)]
    return past.sort_values("over_today_months", ascending=False, kind="stable")


def _overdue_sentence(findings: Findings) -> str:
    past = past_cap(findings)
    if past.empty:
        return "No disc is past its cap today."
    worst = past.iloc[0]
    return (
        f"{count(len(past), 'disc').capitalize()} {'is' if len(past) == 1 else 'are'} past the cap"
        f" today: {and_so_on(past['position_id'].astype(str))}; the furthest,"
        f" {worst['position_id']}, by {number(worst['over_today_months'])} months."
    )


def _policy_sentence(findings: Findings) -> str:
    """Say what following the proposed ages would do; blank when it could not be reckoned."""
    policies = findings.policies.set_index("policy")
    if not {"today", "proposed"} <= set(policies.index):
        return ""
    now, then = policies.loc["today"], policies.loc["proposed"]
    if then["saving_low"] <= 0 <= then["saving_high"]:
        return "Following the proposed ages would change neither cost nor failures clearly."
    saves = then["saving"] >= 0
    low, high = sorted((abs(then["saving_low"]), abs(then["saving_high"])))
    size = Estimate(estimate=abs(then["saving"]), low=low, high=high)
    return (
        f"Following the proposed ages would {'save' if saves else 'cost'} {within(size, _whole)}"
        f" {findings.currency} a year in the long run, with {number(then['premature_per_year'])}"
        f" premature failures a year instead of {number(now['premature_per_year'])}."
    )


def gain_sentence(findings: Findings) -> str:
    """Say what life a lower operating ratio would buy; blank when it was not estimated."""
    exponent = findings.wear.ratio_exponent if findings.wear else None
    if exponent is None:
        return ""
    gain = Estimate(
        estimate=_LOWER**-exponent.estimate,
        low=_LOWER**-exponent.low,
        high=_LOWER**-exponent.high,
    )
    return (
        f"Wear life falls with the operating ratio to the power {within(exponent)}: running 5 %"
        f" lower would multiply it by {within(gain)}, within the ratios on record."
    )


def changed_duty_sentence(findings: Findings) -> str:
    """Say whether duties that changed during a life alter the answer; blank without a history."""
    wear = findings.wear
    if wear is None or not findings.duty_quarters["pressure_basis"].eq("history").any():
        return ""
    changed = wear.changed_duty
    if changed is None:
        return (
            "No disc is seen to have changed its duty much during its life, so each enters the"
            " model at one duty."
        )
    pairs = [
        ("ratio", wear.ratio_exponent, changed.ratio_exponent),
        ("cycles", wear.cycle_exponent, changed.cycle_exponent),
    ]
    told = [(name, own, one) for name, own, one in pairs if own is not None and one is not None]
    alters = [name for name, own, one in told if not own.low <= one.estimate <= own.high]
    beside = "; ".join(
        f"exponent of the {name} {within(own)} against {within(one)}" for name, own, one in told
    )
    verdict = (
        f"that alters what the {' and the '.join(alters)} {'do' if len(alters) > 1 else 'does'}"
        if alters
        else "that does not alter the answer"
    )
    return (
        f"The duty of {count(changed.lives, 'disc')} changed during its life ({changed.failures:,}"
        f" failed early). Taken stretch by stretch against one duty per life: {beside};"
        f" {verdict}."
    )


def _whole(value: float) -> str:
    return money(value, "")


def _wear_sentence(findings: Findings) -> str:
    shape = findings.wear.shape
    if shape.low > 1:
        return (
            f"Wear grows with age (shape {within(shape)}, above 1), so replacing in time does"
            " cut premature bursts."
        )
    return (
        f"Wear is not shown to grow with age (shape {within(shape)}, not clearly above 1):"
        " scheduled replacement does not cut premature bursts."
    )
