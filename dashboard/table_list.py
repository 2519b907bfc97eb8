"""Every table a reader can see or take away."""

import pandas as pd

from analytics.findings import Findings
from analytics.logs.tables import CHECKS
from dashboard.cumulative import failures_per_position
from dashboard.losses import avoidable_losses
from dashboard.orders import to_order
from dashboard.tables import Kind, TableView, columns

__all__ = ["TABLES"]


def _failures(findings: Findings) -> pd.DataFrame:
    return findings.installation.failures if findings.installation else pd.DataFrame()


def _defects(findings: Findings) -> pd.DataFrame:
    return findings.installation.defects if findings.installation else pd.DataFrame()


def _cost_curves(findings: Findings) -> pd.DataFrame:
    curves = [
        curve.assign(position_id=position) for position, curve in findings.interval_curves.items()
    ]
    return pd.concat(curves, ignore_index=True) if curves else pd.DataFrame()


_POSITION = ("position_id", "Position", Kind.POSITION)
_SITE = ("site", "Site", Kind.TEXT)
_CODE = ("disc_code", "Disc code", Kind.TEXT)
_STORE = ("store", "Store", Kind.TEXT)

_DECLARED = (
    TableView(
        key="order-this-week",
        title="Order this week",
        rows=to_order,
        columns=columns(
            _CODE,
            _STORE,
            ("order_quantity", "Pieces", Kind.COUNT),
            ("order_by", "Order by", Kind.DAY),
            ("cost", "Cost", Kind.MONEY),
            ("criticality", "Criticality", Kind.TEXT),
            ("reason", "Why", Kind.TEXT),
        ),
    ),
    TableView(
        key="spares",
        title="Stock and demand per store and disc code",
        rows=lambda findings: findings.spares,
        columns=columns(
            _STORE,
            _CODE,
            ("order_now", "Order now", Kind.YES_NO),
            ("order_by", "Order by", Kind.DAY),
            ("usable_stock", "Usable stock", Kind.COUNT),
            ("stock", "All stock", Kind.COUNT),
            ("on_order", "On order", Kind.COUNT),
            ("move_in", "Move in from another store", Kind.COUNT),
            ("reorder_point", "Reorder point", Kind.COUNT),
            ("weeks", "Weeks ahead", Kind.COUNT),
            ("mean", "Demand, mean", Kind.NUMBER),
            ("p50", "Demand, half the time", Kind.COUNT),
            ("p90", "Demand, 9 in 10", Kind.COUNT),
            ("p95", "Demand, 19 in 20", Kind.COUNT),
            ("planned", "of it planned", Kind.NUMBER),
            ("premature", "of it premature", Kind.NUMBER),
            ("upset", "of it upsets", Kind.NUMBER),
            ("unclear", "of it unclear bursts", Kind.NUMBER),
            ("fitting", "of it lost in fitting", Kind.NUMBER),
            ("order_quantity", "Pieces to order", Kind.COUNT),
            ("cost", "Cost", Kind.MONEY),
            ("criticality", "Criticality", Kind.TEXT),
            ("service", "Served in time as stocked", Kind.SHARE),
            ("target", "Served in time, target", Kind.SHARE),
            ("insurance", "Held as insurance", Kind.YES_NO),
            ("reason", "Why", Kind.TEXT),
        ),
    ),
    TableView(
        key="demand-by-week",
        title="Demand and stock week by week, running total",
        rows=lambda findings: findings.demand_weekly,
        columns=columns(
            _STORE,
            _CODE,
            ("week_start", "Week from", Kind.DAY),
            ("mean", "Demand, mean", Kind.NUMBER),
            ("p50", "Demand, half the time", Kind.COUNT),
            ("p90", "Demand, 9 in 10", Kind.COUNT),
            ("p95", "Demand, 19 in 20", Kind.COUNT),
            ("stock", "Usable stock with orders", Kind.COUNT),
        ),
    ),
    TableView(
        key="install-steps",
        title="Install defects, costliest first",
        rows=_defects,
        columns=columns(
            ("about", "Defect", Kind.TEXT),
            ("failures_owed", "Failures owed", Kind.NUMBER),
            ("failures_owed_low", "from", Kind.NUMBER),
            ("failures_owed_high", "to", Kind.NUMBER),
            ("defect_pct", "Found amiss", Kind.PERCENT),
            ("recorded_pct", "Recorded", Kind.PERCENT),
            ("cost_owed", "Cost owed", Kind.MONEY),
            ("log_effect", "Effect, log hazard", Kind.NUMBER),
            ("log_effect_low", "from", Kind.NUMBER),
            ("log_effect_high", "to", Kind.NUMBER),
            ("mend", "What mends it", Kind.TEXT),
            ("check", "Check", Kind.TEXT),
        ),
    ),
    TableView(
        key="failures",
        title="Premature failures, one by one",
        rows=_failures,
        columns=columns(
            ("life_id", "Case", Kind.CASE),
            _POSITION,
            _SITE,
            ("ended_on", "Found", Kind.DAY),
            ("age_years", "Age", Kind.YEARS),
            ("share", "Owed to installation", Kind.SHARE),
            ("share_low", "from", Kind.SHARE),
            ("share_high", "to", Kind.SHARE),
            ("main_defect", "Main defect", Kind.TEXT),
            ("defects_found", "Defects found", Kind.TEXT),
            ("percentile", "Of like discs failed by this age", Kind.SHARE),
            _CODE,
            ("crew", "Crew", Kind.TEXT),
            ("lot", "Lot", Kind.TEXT),
            ("rivals", "What else could explain it", Kind.TEXT),
            ("advice", "What to do", Kind.TEXT),
        ),
    ),
    TableView(
        key="dangerous",
        title="Dangerous findings",
        rows=lambda findings: findings.dangerous,
        columns=columns(_POSITION, ("date", "Date", Kind.DAY), ("what", "What", Kind.TEXT)),
    ),
    TableView(
        key="crews",
        title="Crews, adjusted for duty",
        rows=lambda findings: findings.crews,
        columns=columns(
            ("crew", "Crew", Kind.TEXT),
            ("events", "Premature failures", Kind.COUNT),
            ("expected", "Expected on this duty", Kind.NUMBER),
            ("rate_ratio", "Ratio, shrunken", Kind.NUMBER),
            ("low", "from", Kind.NUMBER),
            ("high", "to", Kind.NUMBER),
            ("flagged", "More than noise", Kind.YES_NO),
            ("note", "Note", Kind.TEXT),
        ),
    ),
    TableView(
        key="lots",
        title="Lots, adjusted for duty",
        rows=lambda findings: findings.lots,
        columns=columns(
            ("lot", "Lot", Kind.TEXT),
            ("events", "Premature failures", Kind.COUNT),
            ("expected", "Expected on this duty", Kind.NUMBER),
            ("rate_ratio", "Ratio, shrunken", Kind.NUMBER),
            ("low", "from", Kind.NUMBER),
            ("high", "to", Kind.NUMBER),
            ("flagged", "More than noise", Kind.YES_NO),
            ("positions", "In service at", Kind.TEXT),
            ("in_stock", "Pieces in stock", Kind.COUNT),
            ("note", "Note", Kind.TEXT),
        ),
    ),
    TableView(
        key="duty",
        title="Duty of every position",
        rows=lambda findings: findings.duty,
        columns=columns(
            _POSITION,
            _SITE,
            _CODE,
            ("family", "Family", Kind.TEXT),
            ("operating_ratio", "Operating ratio", Kind.SHARE),
            ("limit", "Highest allowed", Kind.SHARE),
            ("margin_bar", "Margin", Kind.BAR),
            ("share_above_limit", "Hours above", Kind.SHARE),
            ("cycles_per_year", "Cycles", Kind.PER_YEAR),
            ("ratio_basis", "Burst pressure from", Kind.TEXT),
            ("pressure_basis", "Pressure from", Kind.TEXT),
            ("alarm", "Alarm", Kind.TEXT),
        ),
    ),
    TableView(
        key="intervals",
        title="When to replace, position by position",
        rows=lambda findings: findings.intervals,
        columns=columns(
            _POSITION,
            _SITE,
            _CODE,
            ("proposal", "Proposal", Kind.TEXT),
            ("overdue", "Past its cap", Kind.YES_NO),
            ("replace_on", "Replace on", Kind.DAY),
            ("age_months", "Replace at age", Kind.MONTHS),
            ("age_low", "from", Kind.MONTHS),
            ("age_high", "to", Kind.MONTHS),
            ("today_age_months", "Today's interval", Kind.MONTHS),
            ("cap_months", "Cap", Kind.MONTHS),
            ("premature_probability", "Fails before that age", Kind.SHARE),
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
        key="overdue",
        title="Discs past their cap or recommended age, today or by the next outage",
        rows=lambda findings: findings.overdue,
        columns=columns(
            _POSITION,
            ("limit", "Past its", Kind.TEXT),
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
            ("policy", "Policy", Kind.TEXT),
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
            _POSITION,
            ("age_months", "Replace at age", Kind.MONTHS),
            ("cost_per_year", "Cost a year", Kind.MONEY),
            ("low", "from", Kind.MONEY),
            ("high", "to", Kind.MONEY),
            ("premature_probability", "Fails before that age", Kind.SHARE),
        ),
    ),
    TableView(
        key="life-curve",
        title="Share of discs without a premature failure, by age",
        rows=lambda findings: findings.life_curve,
        columns=columns(
            ("age_years", "Age", Kind.YEARS),
            ("survival", "Not failed", Kind.SHARE),
            ("low", "from", Kind.SHARE),
            ("high", "to", Kind.SHARE),
            ("at_risk", "Discs at this age", Kind.COUNT),
            ("events", "Failures", Kind.COUNT),
        ),
    ),
    TableView(
        key="hazard-curve",
        title="Yearly hazard by age, as the model splits it",
        rows=lambda findings: findings.hazard_curve,
        columns=columns(
            ("age_years", "Age", Kind.YEARS),
            ("installation", "Installation", Kind.PER_YEAR),
            ("wear", "Wear", Kind.PER_YEAR),
            ("clean", "After a clean install", Kind.PER_YEAR),
        ),
    ),
    TableView(
        key="trend",
        title="Premature failures per 100 disc-years",
        rows=lambda findings: findings.trend,
        columns=columns(
            ("year", "Year", Kind.TEXT),
            _SITE,
            ("disc_years", "Disc-years", Kind.NUMBER),
            ("premature", "Premature failures", Kind.COUNT),
            ("rate", "Per 100 disc-years", Kind.NUMBER),
            ("low", "from", Kind.NUMBER),
            ("high", "to", Kind.NUMBER),
            ("install_quality", "Install checks passed", Kind.SHARE),
        ),
    ),
    TableView(
        key="failures-per-position",
        title="Premature failures per position, added up",
        rows=lambda findings: failures_per_position(findings.lives, findings.log_begins),
        columns=columns(
            ("on", "Month to", Kind.DAY),
            ("mean", "Per position so far", Kind.NUMBER),
            ("low", "from", Kind.NUMBER),
            ("high", "to", Kind.NUMBER),
            ("positions", "Positions watched", Kind.COUNT),
            ("failures", "Failures in the month", Kind.COUNT),
        ),
    ),
    TableView(
        key="costs",
        title="Cost by year",
        rows=lambda findings: findings.costs,
        columns=columns(
            ("year", "Year", Kind.TEXT),
            ("premature_cost", "Premature failures", Kind.MONEY),
            ("owed_cost", "of it owed to installation", Kind.MONEY),
            ("planned_cost", "Planned replacements", Kind.MONEY),
        ),
    ),
    TableView(
        key="avoidable-losses",
        title="Where a better installation would save most",
        rows=avoidable_losses,
        columns=columns(
            _POSITION,
            _SITE,
            ("failures", "Premature failures", Kind.COUNT),
            ("failures_owed", "of them owed to installation", Kind.NUMBER),
            ("cost_owed", "Cost owed", Kind.MONEY),
            ("advice", "What to do", Kind.TEXT),
        ),
    ),
    TableView(
        key="data-quality",
        title="Share of records that hold what is needed",
        rows=lambda findings: findings.data_quality,
        columns=columns(
            ("year", "Year", Kind.TEXT),
            ("measure", "What", Kind.TEXT),
            ("share", "Recorded", Kind.SHARE),
        ),
    ),
    TableView(
        key="rows-read",
        title="Rows read, accepted and set aside",
        rows=lambda findings: findings.rows,
        columns=columns(
            ("table", "Table", Kind.TEXT),
            ("read", "Read", Kind.COUNT),
            ("accepted", "Accepted", Kind.COUNT),
            ("quarantined", "Set aside", Kind.COUNT),
        ),
    ),
    TableView(
        key="set-aside",
        title="Rows set aside, with what would mend them",
        rows=lambda findings: findings.quarantine,
        columns=columns(
            ("table", "Table", Kind.TEXT),
            ("file", "File", Kind.TEXT),
            ("line", "Line", Kind.COUNT),
            ("column", "Column", Kind.TEXT),
            ("value", "Value", Kind.TEXT),
            ("reason", "Reason", Kind.TEXT),
            ("required", "Required", Kind.TEXT),
            ("mend", "What would mend it", Kind.TEXT),
            ("raw", "Row as it stands", Kind.TEXT),
        ),
    ),
    TableView(
        key="lives",
        title="Disc lives",
        rows=lambda findings: findings.lives,
        columns=columns(
            ("life_id", "Life", Kind.CASE),
            _POSITION,
            _SITE,
            ("unit", "Unit", Kind.TEXT),
            ("service", "Service", Kind.TEXT),
            _CODE,
            ("family", "Family", Kind.TEXT),
            ("lot", "Lot", Kind.TEXT),
            ("crew", "Crew", Kind.TEXT),
            ("installed_on", "Installed", Kind.DAY),
            ("ended_on", "Ended or last seen", Kind.DAY),
            ("lower_years", "Age", Kind.YEARS),
            ("ending", "Ending", Kind.TEXT),
            ("reason", "Reason logged", Kind.TEXT),
            ("operating_ratio", "Operating ratio", Kind.SHARE),
            ("cycles_per_year", "Cycles", Kind.PER_YEAR),
            ("marked_burst_pressure_barg", "Marked burst pressure", Kind.BARG),
            ("peak_pressure_barg", "Peak pressure", Kind.BARG),
            ("checks_passed", "Checks passed", Kind.COUNT),
            ("checks_recorded", "Checks recorded", Kind.COUNT),
            *((check, check.replace("_", " ").capitalize(), Kind.YES_NO) for check in CHECKS),
            ("torque_not_low", "Torque not low", Kind.YES_NO),
            ("torque_not_high", "Torque not high", Kind.YES_NO),
            ("cost", "Cost", Kind.MONEY),
            ("downtime_h", "Downtime, hours", Kind.NUMBER),
            ("inferred", "What was inferred", Kind.TEXT),
        ),
    ),
)

TABLES = {view.key: view for view in _DECLARED}
"""Every table by its key."""
