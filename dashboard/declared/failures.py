"""What the engineer reads of failures: causes, cases, crews, lots, duty, hazard."""

import pandas as pd

from analytics.findings import Findings
from analytics.installs.checklist import CHECKLIST
from dashboard.declared.shared import CODE, POSITION, SITE
from dashboard.tables import Kind, TableView, columns

__all__ = ["FAILURES"]

_DEFECTS = {name: check.defect for name, check in CHECKLIST.items()}


def _failures(findings: Findings) -> pd.DataFrame:
    if findings.installation is None:
        return pd.DataFrame()
    failures = findings.installation.failures
    # A check's own name says what was wanted; a defect is what was found instead.
    named = failures["main_defect"].map(lambda check: _DEFECTS.get(check, check))
    return failures.assign(main_defect=named)


def _defects(findings: Findings) -> pd.DataFrame:
    return findings.installation.defects if findings.installation else pd.DataFrame()


FAILURES = (
    TableView(
        key="dangerous",
        title="Dangerous findings",
        rows=lambda findings: findings.dangerous,
        columns=columns(POSITION, ("date", "Date", Kind.DAY), ("what", "What", Kind.TEXT)),
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
            ("owed_per_year", "Owed a year", Kind.NUMBER),
            ("owed_per_year_low", "from", Kind.NUMBER),
            ("owed_per_year_high", "to", Kind.NUMBER),
            ("defect_pct", "Found amiss", Kind.PERCENT),
            ("recorded_pct", "Recorded", Kind.PERCENT),
            ("cost_owed", "Cost owed", Kind.MONEY),
            ("cost_owed_low", "from", Kind.MONEY),
            ("cost_owed_high", "to", Kind.MONEY),
            ("not_priced", "Owed, without a cost", Kind.NUMBER),
            ("log_effect", "Effect, log hazard", Kind.NUMBER),
            ("log_effect_low", "from", Kind.NUMBER),
            ("log_effect_high", "to", Kind.NUMBER),
            ("mend", "What mends it", Kind.TEXT),
            ("check", "Check", Kind.CODE_WORD),
        ),
    ),
    TableView(
        key="what-if",
        title="What would have been avoided over the log, each change alone",
        rows=lambda findings: findings.what_if,
        columns=columns(
            ("about", "Change", Kind.TEXT),
            ("avoided", "Failures avoided", Kind.NUMBER),
            ("avoided_low", "from", Kind.NUMBER),
            ("avoided_high", "to", Kind.NUMBER),
            ("share", "Of all failures", Kind.SHARE),
            ("share_low", "from", Kind.SHARE),
            ("share_high", "to", Kind.SHARE),
            ("per_year", "Avoided a year", Kind.NUMBER),
            ("per_year_low", "from", Kind.NUMBER),
            ("per_year_high", "to", Kind.NUMBER),
            ("money", "Cost avoided", Kind.MONEY),
            ("money_low", "from", Kind.MONEY),
            ("money_high", "to", Kind.MONEY),
            ("not_priced", "Avoided, without a cost", Kind.NUMBER),
            ("not_then", "Not when they happened", Kind.NUMBER),
            ("avoided_all_unclear", "Every unclear premature", Kind.NUMBER),
            ("avoided_no_unclear", "None premature", Kind.NUMBER),
            ("note", "Note", Kind.TEXT),
            ("positions", "At", Kind.TEXT),
        ),
    ),
    TableView(
        key="owed-by-year",
        title="Failures owed to each install defect, year by year",
        rows=lambda findings: findings.owed_by_year,
        columns=columns(
            ("year", "Year", Kind.TEXT),
            ("about", "Defect", Kind.TEXT),
            ("failures_owed", "Failures owed", Kind.NUMBER),
            ("failures_owed_low", "from", Kind.NUMBER),
            ("failures_owed_high", "to", Kind.NUMBER),
            ("cost_owed", "Cost owed", Kind.MONEY),
            ("cost_owed_low", "from", Kind.MONEY),
            ("cost_owed_high", "to", Kind.MONEY),
        ),
    ),
    TableView(
        key="fitting-quality",
        title="How well discs were fitted, by what their defects do",
        rows=lambda findings: findings.fitting,
        columns=columns(
            ("of", "Of", Kind.TEXT),
            ("name", "Name", Kind.TEXT),
            ("installs", "Installs", Kind.COUNT),
            ("passed", "Checks passed", Kind.SHARE),
            ("per_100", "Added to the first year per 100", Kind.NUMBER),
            ("per_100_low", "from", Kind.NUMBER),
            ("per_100_high", "to", Kind.NUMBER),
            ("failures", "Premature failures", Kind.NUMBER),
            ("avoided", "Avoided if fitted clean", Kind.NUMBER),
            ("avoided_low", "from", Kind.NUMBER),
            ("avoided_high", "to", Kind.NUMBER),
            ("note", "Note", Kind.TEXT),
        ),
    ),
    TableView(
        key="failures",
        title="Premature failures, one by one",
        rows=_failures,
        columns=columns(
            ("life_id", "Case", Kind.CASE),
            POSITION,
            SITE,
            ("ended_on", "Found", Kind.DAY),
            ("age_years", "Age", Kind.YEARS),
            ("main_defect", "Main defect", Kind.CODE_WORD),
            ("share", "Owed to installation", Kind.SHARE),
            ("share_low", "from", Kind.SHARE),
            ("share_high", "to", Kind.SHARE),
            ("defects_found", "Defects found", Kind.CODE_WORD),
            ("percentile", "Of like discs failed by this age", Kind.SHARE),
            CODE,
            ("crew", "Crew", Kind.TEXT),
            ("lot", "Lot", Kind.TEXT),
            ("rivals", "What else could explain it", Kind.TEXT),
            ("advice", "What to do", Kind.TEXT),
        ),
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
            ("suspect", "Suspect", Kind.YES_NO),
            ("flagged", "More than noise", Kind.YES_NO),
            ("p_value", "Chance that a good lot ever looks as bad", Kind.SHARE),
            ("positions", "In service at", Kind.TEXT),
            ("bins", "In the stores", Kind.TEXT),
            ("in_stock", "Pieces in stock", Kind.COUNT),
            ("what_else", "What else could explain it", Kind.TEXT),
            ("note", "Note", Kind.TEXT),
        ),
    ),
    TableView(
        key="counts-alone",
        title="What the counts alone say: failed within a year of fitting, by check",
        rows=lambda findings: findings.counts_alone,
        columns=columns(
            ("about", "Defect", Kind.TEXT),
            ("failed_with", "Failed early with it", Kind.COUNT),
            ("with_defect", "of discs", Kind.COUNT),
            ("failed_without", "Failed early without it", Kind.COUNT),
            ("without_defect", "of discs without", Kind.COUNT),
            ("relative_risk", "Relative risk", Kind.NUMBER),
            ("relative_risk_low", "from", Kind.NUMBER),
            ("relative_risk_high", "to", Kind.NUMBER),
            ("odds_ratio", "Odds ratio", Kind.NUMBER),
            ("odds_ratio_low", "from", Kind.NUMBER),
            ("odds_ratio_high", "to", Kind.NUMBER),
            ("risk_difference", "Difference of risk", Kind.SHARE),
            ("risk_difference_low", "from", Kind.SHARE),
            ("risk_difference_high", "to", Kind.SHARE),
            ("p_value", "Fisher's exact test", Kind.NUMBER),
        ),
    ),
    TableView(
        key="suspect-lots",
        title="Set aside: every bin and position that holds a suspect lot",
        rows=lambda findings: findings.lot_places,
        columns=columns(
            ("lot", "Lot", Kind.TEXT),
            CODE,
            ("store", "Store", Kind.TEXT),
            ("pieces", "Pieces", Kind.COUNT),
            ("position_id", "In service at", Kind.POSITION),
            ("since", "Received or fitted", Kind.DAY),
            ("action", "What to do", Kind.TEXT),
        ),
    ),
    TableView(
        key="duty",
        title="Duty of every position",
        rows=lambda findings: findings.duty,
        columns=columns(
            POSITION,
            SITE,
            CODE,
            ("family", "Family", Kind.CODE_WORD),
            ("operating_ratio", "Operating ratio", Kind.SHARE),
            ("limit", "Highest allowed", Kind.SHARE),
            ("margin_bar", "Margin", Kind.BAR),
            ("share_above_limit", "Hours above", Kind.SHARE),
            ("cycles_per_year", "Cycles", Kind.PER_YEAR),
            ("ratio_basis", "Burst pressure from", Kind.CODE_WORD),
            ("pressure_basis", "Pressure from", Kind.CODE_WORD),
            ("alarm", "Alarm", Kind.TEXT),
        ),
    ),
    TableView(
        key="duty-quarters",
        title="Duty by quarter, as the pressure history shows it",
        rows=lambda findings: findings.duty_quarters,
        columns=columns(
            POSITION,
            ("install_id", "Disc fitted as", Kind.TEXT),
            ("from_on", "From", Kind.DAY),
            ("to_on", "Until", Kind.DAY),
            ("operating_ratio", "Operating ratio", Kind.SHARE),
            ("mean_ratio", "Mean ratio", Kind.SHARE),
            ("share_above_limit", "Hours above", Kind.SHARE),
            ("cycles_per_year", "Cycles", Kind.PER_YEAR),
            ("temperature_degc", "Temperature [degC]", Kind.NUMBER),
            ("damage", "Fatigue life used", Kind.SHARE),
            ("coverage", "Seen", Kind.SHARE),
            ("pressure_basis", "Pressure from", Kind.TEXT),
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
)
"""In the order of their worth to the reader."""
