"""What the logs' keeper reads: rows, refusals, lives."""

from analytics.logs.tables import CHECKS
from dashboard.declared.shared import CODE, POSITION, SITE
from dashboard.tables import Kind, TableView, columns

__all__ = ["LOGS"]

LOGS = (
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
            ("reason", "Reason", Kind.CODE_WORD),
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
            POSITION,
            SITE,
            ("unit", "Unit", Kind.TEXT),
            ("service", "Service", Kind.TEXT),
            CODE,
            ("family", "Family", Kind.CODE_WORD),
            ("lot", "Lot", Kind.TEXT),
            ("crew", "Crew", Kind.TEXT),
            ("installed_on", "Installed", Kind.DAY),
            ("ended_on", "Ended or last seen", Kind.DAY),
            ("lower_years", "Age", Kind.YEARS),
            ("ending", "Ending", Kind.CODE_WORD),
            ("reason", "Reason logged", Kind.CODE_WORD),
            ("operating_ratio", "Operating ratio", Kind.SHARE),
            ("operating_pressure_barg", "Operating pressure", Kind.BARG),
            ("minimum_burst_barg", "Least burst pressure", Kind.BARG),
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
            ("install_id", "Install record", Kind.TEXT),
            ("removal_id", "Removal record", Kind.TEXT),
            ("inferred", "What was inferred", Kind.TEXT),
        ),
    ),
)
"""In the order of their worth to the reader."""
