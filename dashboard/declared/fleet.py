"""What the manager reads: trend, money, records."""

from dashboard.cumulative import failures_per_position
from dashboard.declared.shared import POSITION, SITE
from dashboard.losses import avoidable_losses
from dashboard.tables import Kind, TableView, columns

__all__ = ["FLEET"]

FLEET = (
    TableView(
        key="trend",
        title="Premature failures per 100 disc-years",
        rows=lambda findings: findings.trend,
        columns=columns(
            ("year", "Year", Kind.TEXT),
            SITE,
            ("disc_years", "Disc-years", Kind.NUMBER),
            ("premature", "Premature failures", Kind.COUNT),
            ("rate", "Per 100 disc-years", Kind.NUMBER),
            ("low", "from", Kind.NUMBER),
            ("high", "to", Kind.NUMBER),
            ("install_quality", "Install checks passed", Kind.SHARE),
        ),
    ),
    TableView(
        key="sites",
        title="Sites on equal duty",
        rows=lambda findings: findings.sites,
        columns=columns(
            SITE,
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
            POSITION,
            SITE,
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
            ("measure", "What", Kind.CODE_WORD),
            ("share", "Recorded", Kind.SHARE),
        ),
    ),
)
"""In the order of their worth to the reader."""
