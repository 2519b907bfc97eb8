"""What the engineer reads of change: the charts, the programmes, the checks to record."""

import pandas as pd

from analytics.findings import Findings
from dashboard.tables import Kind, TableView, columns

__all__ = ["CHARTS", "MEASURES", "WATCHING"]

CHARTS = {
    "failures": "installation failures",
    "records": "defects found",
    "lots": "failures of the lot",
}
"""What each family of charts counts, in a reader's words."""

MEASURES = {"failures": "installation failures", "records": "defects found"}
"""What a programme is measured by."""


def _named(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.assign(chart=frame["chart"].map(CHARTS)) if len(frame) else frame


def _programmes(findings: Findings) -> pd.DataFrame:
    frame = findings.programmes
    return frame.assign(measure=frame["measure"].map(MEASURES)) if len(frame) else frame


WATCHING = (
    TableView(
        key="watch",
        title="Changes of the quality of installation",
        rows=lambda findings: _named(findings.watch),
        columns=columns(
            ("chart", "What", Kind.TEXT),
            ("kind", "Of", Kind.TEXT),
            ("group", "Which", Kind.TEXT),
            ("direction", "It", Kind.TEXT),
            ("since", "Since", Kind.DAY),
            ("signalled_on", "Seen on", Kind.DAY),
            ("still", "Still so", Kind.YES_NO),
            ("observed", "Observed since", Kind.NUMBER),
            ("expected", "Expected since", Kind.NUMBER),
            ("rate_ratio", "Times the expected", Kind.NUMBER),
            ("low", "from", Kind.NUMBER),
            ("high", "to", Kind.NUMBER),
            ("other_observed", "Failures by wear then", Kind.NUMBER),
            ("other_expected", "Expected of wear then", Kind.NUMBER),
            ("wear_too", "Wear changed too", Kind.YES_NO),
        ),
    ),
    TableView(
        key="watch-charts",
        title="Every chart, and how soon it would see a change",
        rows=lambda findings: _named(findings.watch_charts),
        columns=columns(
            ("chart", "What", Kind.TEXT),
            ("kind", "Of", Kind.TEXT),
            ("group", "Which", Kind.TEXT),
            ("events", "Events on record", Kind.NUMBER),
            ("per_year", "Expected lately", Kind.PER_YEAR),
            ("rise", "Towards an alarm, rising", Kind.SHARE),
            ("fall", "Towards an alarm, falling", Kind.SHARE),
            ("months_to_rise", "Doubling seen after", Kind.MONTHS),
            ("months_to_fall", "Halving seen after", Kind.MONTHS),
        ),
    ),
    TableView(
        key="watch-path",
        title="The charts month by month",
        rows=lambda findings: _named(findings.watch_path),
        columns=columns(
            ("chart", "What", Kind.TEXT),
            ("kind", "Of", Kind.TEXT),
            ("group", "Which", Kind.TEXT),
            ("on", "Until", Kind.DAY),
            ("observed", "Observed", Kind.NUMBER),
            ("expected", "Expected", Kind.NUMBER),
            ("difference", "Observed less expected", Kind.NUMBER),
            ("rise", "Towards an alarm, rising", Kind.SHARE),
            ("fall", "Towards an alarm, falling", Kind.SHARE),
        ),
    ),
    TableView(
        key="programmes",
        title="Improvement programmes, before and since",
        rows=_programmes,
        columns=columns(
            ("programme", "Programme", Kind.TEXT),
            ("starts_on", "From", Kind.DAY),
            ("measure", "Measured by", Kind.TEXT),
            ("net", "Since over before, against outside", Kind.NUMBER),
            ("net_low", "from", Kind.NUMBER),
            ("net_high", "to", Kind.NUMBER),
            ("change", "Since over before", Kind.NUMBER),
            ("change_low", "from", Kind.NUMBER),
            ("change_high", "to", Kind.NUMBER),
            ("rest", "The same outside", Kind.NUMBER),
            ("rest_low", "from", Kind.NUMBER),
            ("rest_high", "to", Kind.NUMBER),
            ("observed_before", "Observed before", Kind.NUMBER),
            ("expected_before", "Expected before", Kind.NUMBER),
            ("observed_since", "Observed since", Kind.NUMBER),
            ("expected_since", "Expected since", Kind.NUMBER),
            ("note", "Note", Kind.TEXT),
        ),
    ),
    TableView(
        key="record-next",
        title="What to record next",
        rows=lambda findings: findings.record_next,
        columns=columns(
            ("about", "Defect", Kind.TEXT),
            ("recorded_pct", "Recorded now", Kind.PERCENT),
            ("failures_owed", "Failures owed, now", Kind.NUMBER),
            ("now_low", "from", Kind.NUMBER),
            ("now_high", "to", Kind.NUMBER),
            ("then_low", "Were it recorded, from about", Kind.NUMBER),
            ("then_high", "Were it recorded, to about", Kind.NUMBER),
            ("width", "Width of today's limits", Kind.SHARE),
            ("total_width", "Width of the limits of all defects", Kind.SHARE),
            ("check", "Check", Kind.TEXT),
        ),
    ),
)
"""In the order of their worth to the reader."""
