"""What the engineer reads of replacement: ages, caps, policies, costs."""

import pandas as pd

from analytics.findings import Findings
from dashboard.declared.shared import CODE, POSITION, SITE, STORE
from dashboard.tables import Kind, TableView, columns

__all__ = ["INTERVALS"]


def _cost_curves(findings: Findings) -> pd.DataFrame:
    curves = [
        curve.assign(position_id=position) for position, curve in findings.interval_curves.items()
    ]
    return pd.concat(curves, ignore_index=True) if curves else pd.DataFrame()


INTERVALS = (
    TableView(
        key="intervals",
        title="When to replace, position by position",
        rows=lambda findings: findings.intervals,
        columns=columns(
            POSITION,
            SITE,
            CODE,
            ("proposal", "Proposal", Kind.CODE_WORD),
            ("overdue", "Past its cap", Kind.YES_NO),
            ("replace_on", "Replace on", Kind.DAY),
            ("age_months", "Replace at age", Kind.MONTHS),
            ("age_low", "from", Kind.MONTHS),
            ("age_high", "to", Kind.MONTHS),
            ("today_age_months", "Today's interval", Kind.MONTHS),
            ("cap_months", "Cap", Kind.MONTHS),
            ("premature_probability", "Premature failure before that age", Kind.SHARE),
            ("cost_per_year", "Cost a year", Kind.MONEY),
            ("cost_low", "from", Kind.MONEY),
            ("cost_high", "to", Kind.MONEY),
            ("cost_today", "Cost a year as today", Kind.MONEY),
            ("cost_run_to_failure", "Cost a year, run to failure", Kind.MONEY),
            ("disc_age_months", "Age of the disc in place", Kind.MONTHS),
            ("next_outage", "Next outage", Kind.DAY),
            ("risk_until_next_outage", "Fails before that outage", Kind.SHARE),
            ("turnaround_group", "Outage group", Kind.TEXT),
            ("note", "Note", Kind.TEXT),
        ),
    ),
    TableView(
        key="outage-plan",
        title="Which discs go out at which outage",
        rows=lambda findings: findings.outage_plan,
        columns=columns(
            ("outage_on", "Outage", Kind.DAY),
            ("turnaround_group", "Outage group", Kind.TEXT),
            POSITION,
            CODE,
            STORE,
        ),
    ),
    TableView(
        key="outage-groups",
        title="What each group's outage plan costs",
        rows=lambda findings: findings.outage_groups,
        columns=columns(
            ("turnaround_group", "Outage group", Kind.TEXT),
            ("positions", "Positions", Kind.COUNT),
            ("outages", "Coming outages planned", Kind.COUNT),
            ("own_outages", "Stops of their own that caps force", Kind.COUNT),
            ("cost", "Expected cost", Kind.MONEY),
            ("cost_without_limits", "The same without crew limits", Kind.MONEY),
        ),
    ),
    TableView(
        key="overdue",
        title="Discs past their cap or recommended age, today or by the next outage",
        rows=lambda findings: findings.overdue,
        columns=columns(
            POSITION,
            ("limit", "Past its", Kind.CODE_WORD),
            ("over_today_months", "Over today", Kind.MONTHS),
            ("next_outage", "Next outage", Kind.DAY),
            ("over_then_months", "Over by then", Kind.MONTHS),
        ),
    ),
    TableView(
        key="policies",
        title="What each policy would do, in the long run, a year",
        rows=lambda findings: findings.policies,
        columns=columns(
            ("policy", "Policy", Kind.CODE_WORD),
            ("cost_per_year", "Cost", Kind.MONEY),
            ("cost_low", "from", Kind.MONEY),
            ("cost_high", "to", Kind.MONEY),
            ("saving", "Saving against today", Kind.MONEY),
            ("saving_low", "from", Kind.MONEY),
            ("saving_high", "to", Kind.MONEY),
            ("premature_per_year", "Premature failures", Kind.NUMBER),
            ("premature_low", "from", Kind.NUMBER),
            ("premature_high", "to", Kind.NUMBER),
            ("planned_per_year", "Planned replacements", Kind.NUMBER),
            ("discs_per_year", "Discs used", Kind.NUMBER),
            ("probability_cheaper", "Cheaper than today, chance", Kind.SHARE),
        ),
    ),
    TableView(
        key="cost-curves",
        title="Cost a year against replacement age",
        rows=_cost_curves,
        columns=columns(
            POSITION,
            ("age_months", "Replace at age", Kind.MONTHS),
            ("cost_per_year", "Cost a year", Kind.MONEY),
            ("low", "from", Kind.MONEY),
            ("high", "to", Kind.MONEY),
            ("premature_probability", "Premature failure before that age", Kind.SHARE),
        ),
    ),
)
"""In the order of their worth to the reader."""
