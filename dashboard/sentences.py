"""The answers: two or three plain sentences per page, with numbers and intervals."""

import pandas as pd

from analytics.estimate import Estimate
from analytics.findings import Findings
from analytics.survival.scores import garwood_limits
from dashboard.orders import to_order
from dashboard.words import and_so_on, count, day, listed, money, number, percent, within

__all__ = [
    "CAUTION",
    "basis",
    "changed_duty_sentence",
    "dangerous_sentence",
    "early_answer",
    "early_part",
    "fleet_answer",
    "gain_sentence",
    "intervals_answer",
    "logs_answer",
    "outage_limits",
    "past_cap",
    "sites_answer",
    "storeroom_answer",
]

CAUTION = (
    "Decision support only. The maker's written instructions, the code of construction, the"
    " jurisdiction and the responsible licensed engineer prevail. Premature life says nothing"
    " about failing to open."
)

_LATE_YEARS = 2
_LOWER = 0.95

_RATIOS = {
    "min_burst": "pressure over marked burst pressure less tolerance (min_burst)",
    "marked": "pressure over marked burst pressure (marked)",
    "low_pressure": "pressure over marked burst pressure, less 2 psi at or below 40 psi"
    " (low_pressure)",
}


def basis(findings: Findings, lives: pd.DataFrame | None = None) -> str:
    """Say what stands behind a figure: lives, events, period, ratio definition, model.

    `lives` names the lives drawn where they are fewer than those of the findings.
    """
    ended = findings.endings if lives is None else lives["ending"].value_counts().to_dict()
    every, early = sum(ended.values()), ended.get("premature", 0)
    model = findings.model
    ratio = _RATIOS.get(model.ratio_definition, model.ratio_definition) if model else ""
    fitted = (
        f"Model: {model.name}, fitted on the {count(model.lives, 'life', 'lives')} of known age,"
        f" {count(model.failures, 'premature failure')} with the unclear ones weighed in."
        f" Operating ratio: {ratio}."
        if model
        else "No life model was fitted."
    )
    return (
        f"{count(every, 'disc life', 'disc lives')}, {count(early, 'premature failure')},"
        f" {day(findings.log_begins)} to {day(findings.export_date)}. {fitted}"
    )


def dangerous_sentence(findings: Findings) -> str:
    """Say how many dangerous findings there were and what rate is not excluded."""
    bound = findings.dangerous_bound
    limit = (
        f" The log does not exclude a rate of {number(100 * bound.high)} per 100 disc-years"
        " (upper 95 % limit)."
        if bound
        else ""
    )
    if findings.dangerous.empty:
        return f"No disc was found that failed to open.{limit} None on record is not none."
    places = and_so_on(findings.dangerous["position_id"].astype(str).unique())
    found = count(len(findings.dangerous), "dangerous finding")
    return f"{found}, at {places}: deal with these before anything else.{limit}"


def early_answer(findings: Findings) -> list[str]:
    """Answer which early failures were owed to poor installation."""
    early = findings.installation
    if early is None:
        return [_cannot(findings, "installation", "which failures were owed to installation")]
    total = findings.model.failures if findings.model else len(early.failures)
    if early.share_of_premature.low <= 0:
        return [
            f"No effect of the installation is shown on {count(total, 'premature failure')}: at"
            f" most {percent(max(early.share_of_premature.high, 0.0))} of them can be owed to it."
        ]
    answer = [
        f"Of {count(total, 'premature failure')}{_counted(findings, total)},"
        f" {within(early.failures_owed)} would not have happened after a clean installation:"
        f" {within(early.share_of_premature, percent)}."
    ]
    if len(early.defects) and early.defects.iloc[0]["failures_owed_low"] > 0:
        answer.append(_worst_step(early.defects))
        answer.append(f"What mends it: {early.defects.iloc[0]['mend']}.")
    return [sentence for sentence in answer if sentence]


def _counted(findings: Findings, total: int) -> str:
    """Say how many of the failures are the part of unclear endings that counts as premature."""
    known = findings.lives[findings.lives["age_known"].astype(bool)]["ending"]
    told, unclear = (int((known == kind).sum()) for kind in ("premature", "unclear"))
    if not unclear or total <= told:
        return ""
    return f" ({told:,} told, {total - told:,} expected among {unclear:,} unclear endings)"


def early_part(findings: Findings) -> str:
    """Say what the failures that a filter keeps owe to the installation; blank when none do."""
    early = findings.installation
    if early is None or early.failures.empty:
        return ""
    owed, kept = float(early.failures["share"].sum()), len(early.failures)
    return (
        f"That is the whole fleet. Of the {count(kept, 'premature failure')} that the filters"
        f" keep, {number(owed)} {'is' if kept == 1 else 'are'} owed to it:"
        f" {percent(owed / kept)}."
    )


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


def _worst_step(defects: pd.DataFrame) -> str:
    worst = defects.iloc[0]
    return (
        f"The costliest defect is “{worst['about']}”: {number(worst['failures_owed'])}"
        f" [{number(worst['failures_owed_low'])} to {number(worst['failures_owed_high'])}]"
        f" of them, amiss on {number(worst['defect_pct'])} % of the records that state it."
    )


def intervals_answer(findings: Findings) -> list[str]:
    """Answer which discs to replace sooner, which to keep, and what to ask."""
    rows = findings.intervals
    if rows.empty:
        return [_cannot(findings, "intervals", "when to replace")]
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


_NAMED = 3
"""How many coming orders are named in a sentence."""


def storeroom_answer(findings: Findings) -> list[str]:
    """Answer what to order this week."""
    rows = findings.spares
    if rows.empty:
        return [_cannot(findings, "spares", "what to order")]
    now = to_order(findings)
    later = rows.drop(now.index)
    if now.empty:
        moves = _moves_sentence(findings)
        first = _waiting(later).head(1)
        return [*moves, "Nothing needs ordering this week."] + [
            f"Next is {row.disc_code} for {row.store}, to be ordered by {day(row.order_by)}."
            for row in first.itertuples()
        ]
    pieces = int(now["order_quantity"].sum())
    first = now.iloc[0]
    return [
        *_moves_sentence(findings),
        f"Order {count(pieces, 'piece')} this week in {count(len(now), 'order')}, for about"
        f" {money(float(now['cost'].sum()), findings.currency)}.",
        f"First {first['disc_code']} for {first['store']}:"
        f" {count(int(first['order_quantity']), 'piece')} by {day(first['order_by'])}"
        f"{_late(findings, first)}.",
        *_next_sentences(later, findings),
    ]


def _waiting(later: pd.DataFrame) -> pd.DataFrame:
    """Orders that will come, soonest first; a code without one only carries a day to look again."""
    coming = later[later["order_quantity"] > 0] if "order_quantity" in later else later
    return coming.dropna(subset=["order_by"]).sort_values("order_by", kind="stable")


def _next_sentences(later: pd.DataFrame, findings: Findings) -> list[str]:
    """Say what comes within the next four weeks, so that orders can be put together."""
    if later.empty:
        return []
    coming = _waiting(later)
    soon = coming[coming["order_by"] <= pd.Timestamp(findings.export_date) + pd.Timedelta(weeks=4)]
    rest = f"{count(len(later) - len(soon), 'other pair').capitalize()} of store and disc code"
    named = [
        f"{row.disc_code} for {row.store} by {day(row.order_by)}"
        for row in soon.head(_NAMED).itertuples()
    ]
    if not named:
        return [f"{rest} can wait more than four weeks."]
    more = f" and {len(soon) - _NAMED} more" if len(soon) > _NAMED else ""
    said = f"Within four weeks order also {listed(named) if not more else ', '.join(named)}{more}"
    together = f"{said}: where a charge per order is paid, put them together."
    return [together, f"{rest} can wait."] if len(later) > len(soon) else [together]


def _moves_sentence(findings: Findings) -> list[str]:
    """Say what another store can give before anything is bought; nothing when none can."""
    moves = findings.moves
    if moves.empty:
        return []
    pieces, lots = int(moves["pieces"].sum()), len(moves)
    return [
        f"First move {count(pieces, 'piece')} between stores in {count(lots, 'move')}: the orders"
        " count on them."
    ]


def _late(findings: Findings, order: pd.Series) -> str:
    """Say so when an order should already have gone out."""
    late = pd.notna(order["order_by"]) and order["order_by"].date() < findings.export_date
    return ", a day that has passed" if late else ""


def fleet_answer(findings: Findings) -> list[str]:
    """Answer whether premature failures are falling, what they cost and why."""
    fleet = findings.trend[findings.trend["site"] == "all"] if len(findings.trend) else None
    if fleet is None or fleet.empty:
        return [_cannot(findings, "trend", "how the fleet is doing")]
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


def logs_answer(findings: Findings) -> list[str]:
    """Answer how much of the logs could be used and what is missing."""
    rows = findings.rows
    read, kept, aside = (int(rows[name].sum()) for name in ("read", "accepted", "quarantined"))
    answer = [
        f"Of {count(read, 'row')} read, {kept:,} were accepted and {aside:,} set aside,"
        " each with its reason and what would mend it."
    ]
    if len(findings.quarantine):
        worst = findings.quarantine.groupby(["table", "reason"]).size().sort_values().index[-1]
        answer.append(f"Most often: {worst[1].replace('_', ' ')} in {worst[0]}.")
    if findings.not_answered:
        answer.append(f"{count(len(findings.not_answered), 'question')} could not be answered.")
    return answer


def _cannot(findings: Findings, key: str, question: str) -> str:
    reason = findings.not_answered.get(key)
    return f"These logs cannot say {question}" + (f": {reason}." if reason else ".")
