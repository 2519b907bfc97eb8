"""Which part of the findings a selection keeps."""

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from analytics.findings import Findings
from analytics.fleet import data_quality, yearly_costs, yearly_trend
from dashboard.selection import CHOICES, YEARS, Selection

__all__ = ["narrow"]

_PLACE = ("site", "family", "service")
_LIFE = (*_PLACE, "crew")


def narrow(findings: Findings, selection: Selection) -> Findings:
    """Keep the rows that the selection asks for, in every frame where it makes sense.

    Counts by year are counted anew from the lives that are kept. Model parameters,
    crews' and lots' ratios and the effects of install steps stay those of the whole
    fleet: narrowing a table is no new fit. An ending chosen narrows lists only, for a
    rate needs every ending to count its disc-years.
    """
    if selection.is_whole:
        return findings
    chosen = _chosen(findings.lives, _LIFE, selection)
    lives = _within_years(_chosen(chosen, ("ending",), selection), selection)
    places = _chosen(findings.lives, _PLACE, selection)
    positions = places["position_id"].unique()
    return replace(
        findings,
        **_counted_anew(findings, chosen, selection),
        lives=lives,
        endings=lives["ending"].value_counts().to_dict(),
        installation=findings.installation
        and replace(
            findings.installation,
            failures=_among(findings.installation.failures, "life_id", lives["life_id"]),
        ),
        crews=_chosen(findings.crews, ("crew",), selection),
        duty=_among(findings.duty, "position_id", positions),
        duty_quarters=_among(findings.duty_quarters, "position_id", positions),
        intervals=_among(findings.intervals, "position_id", positions),
        outage_plan=_among(findings.outage_plan, "position_id", positions),
        overdue=_among(findings.overdue, "position_id", positions),
        spares=_of_places(findings.spares, places),
        demand_weekly=_of_places(findings.demand_weekly, places),
        dangerous=_among(findings.dangerous, "position_id", positions),
    )


def _counted_anew(
    findings: Findings, lives: pd.DataFrame, selection: Selection
) -> dict[str, pd.DataFrame]:
    if len(lives) == len(findings.lives) or lives.empty:
        kept = lives.empty
        frames = {
            name: getattr(findings, name).iloc[:0] if kept else getattr(findings, name)
            for name in ("trend", "costs", "data_quality")
        }
    else:
        frames = {
            "trend": yearly_trend(lives),
            "costs": yearly_costs(lives, _shares(findings)),
            "data_quality": data_quality(lives),
        }
    return {name: _within_years(frame, selection) for name, frame in frames.items()}


def _shares(findings: Findings) -> pd.Series:
    if findings.installation is None:
        return pd.Series(dtype=float)
    return findings.installation.failures.set_index("life_id")["share"]


def _chosen(frame: pd.DataFrame, columns: Iterable[str], selection: Selection) -> pd.DataFrame:
    for column in set(columns) & set(CHOICES):
        words = selection.words.get(column)
        frame = _among(frame, column, words) if words else frame
    return frame


def _among(frame: pd.DataFrame, column: str, kept: object) -> pd.DataFrame:
    return frame[frame[column].isin(kept)] if column in frame else frame


def _of_places(frame: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """Keep the stores and disc codes that the kept positions draw on."""
    if frame.empty:
        return frame
    pairs = pd.MultiIndex.from_frame(places[["store", "disc_code"]].drop_duplicates())
    return frame[pd.MultiIndex.from_frame(frame[["store", "disc_code"]]).isin(pairs)]


def _within_years(frame: pd.DataFrame, selection: Selection) -> pd.DataFrame:
    first = selection.first_year or YEARS.start
    last = selection.last_year or YEARS.stop
    if "ended_on" in frame:
        return frame[frame["ended_on"].dt.year.between(first, last)]
    return frame[frame["year"].between(first, last)] if "year" in frame else frame
