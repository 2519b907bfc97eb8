"""What else could explain an early failure, with the evidence at hand and what would settle it.

An installation defect is never the only suspect. Each rival says what the record shows for or
against it, or that the record is silent, and which record would decide.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
import pandas as pd

from analytics.early.marked_pressures import marked_pressures
from analytics.findings import empty_frame
from analytics.lives.events import Ending

__all__ = [
    "CYCLES",
    "LOT",
    "RATIO",
    "RIVALS",
    "SPIKE",
    "WARMTH",
    "WRONG",
    "Rival",
    "Verdict",
    "rival_explanations",
    "rivals_frame",
]

WARMER_DEGC = 20.0
"""Difference between disc and tag temperature worth a word. Common practice, no source."""

_ROUNDED = 0.005
"""A mark this far outside the manufacturing range is a mark of the range, rounded. [-]"""

_NEAR = 0.05
"""So close below the limit, a nominal pressure decides nothing. Common practice, no source. [-]"""

_BUSY_QUANTILE = 0.9


class Verdict(Enum):
    """What the record says of a rival."""

    FOR = "points to it"
    OPEN = "not known"
    AGAINST = "speaks against it"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """One explanation of one failure.

    Attributes
    ----------
    name : str
        What might have done it; one of `RIVALS`.
    verdict : Verdict
        What the record says.
    evidence : str
        The record's own words, in plain ones.
    """

    name: str
    verdict: Verdict
    evidence: str


LOT, RATIO, WRONG, CYCLES, WARMTH, SPIKE = (
    "a bad lot",
    "pressure too close to the burst pressure",
    "the wrong disc",
    "pressure cycles",
    "temperature",
    "a short pressure spike",
)

RIVALS: Mapping[str, tuple[str, str]] = {
    LOT: (
        "the lot's test certificate, and the fracture of this disc laid beside another of the lot",
        "take the lot's discs out of the bins, list where others of it sit, and ask the "
        "maker for its burst test record",
    ),
    WRONG: (
        "the tag of the removed disc, held beside the position's data sheet",
        "compare the tag of the disc now fitted with the position's data sheet today",
    ),
    RATIO: (
        "the highest operating pressure of its last month in the historian, beside the marked "
        "burst pressure on the tag",
        "read the highest pressure of the last month here and ask operations whether it can run "
        "below the limit; if not, the responsible engineer decides which disc this position needs",
    ),
    CYCLES: (
        "one hour of pressure at one-second samples, and the maker's fatigue life for this disc",
        "trend the pressure over one hour here and look for a control loop or pump that "
        "makes the cycles; ask the maker for this disc's fatigue life",
    ),
    WARMTH: (
        "the temperature measured at the disc, and the maker's burst pressure at that temperature",
        "measure the temperature at the disc and ask the maker for the burst pressure there",
    ),
    SPIKE: (
        "the historian's one-second record of that day, and which valves and pumps moved then",
        "look up the day's highest pressure in the historian and log it; keep "
        "the disc and have its fracture looked at",
    ),
}
"""Each rival, strongest first: what record would settle it, what to do on the next working day.

The wrong disc stands before the ratio: a disc of another rating has another ratio.
"""


def rival_explanations(
    lives: pd.DataFrame,
    tables: Mapping[str, pd.DataFrame],
    suspect_lots: frozenset[str],
) -> dict[str, tuple[Rival, ...]]:
    """List the rival explanations of every premature failure.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    tables : mapping of str to DataFrame
        Checked logs; `discs`, `positions`, `installs` and `stock` are read.
    suspect_lots : frozenset of str
        Lots under suspicion.

    Returns
    -------
    dict of str to tuple of Rival
        life_id to every rival of `RIVALS`: those the record points to first, then those it
        cannot tell, then those it speaks against.
    """
    rows = lives[lives["ending"].eq(Ending.PREMATURE.value)]
    discs, positions = tables["discs"], tables["positions"]
    limit = rows["disc_code"].map(discs.set_index("disc_code")["max_operating_ratio"])
    tag = rows["disc_code"].map(discs.set_index("disc_code")["coincident_temperature_degc"])
    disc = rows["position_id"].map(positions.set_index("position_id")["disc_temperature_degc"])
    described = rows.assign(
        limit=limit,
        warmer=disc.astype(float) - tag.astype(float),
        busy=lives["cycles_per_year"].astype(float).quantile(_BUSY_QUANTILE),
        suspect=rows["lot"].isin(suspect_lots),
    ).join(marked_pressures(rows, tables))
    order = list(Verdict)
    return {
        str(row["life_id"]): tuple(
            sorted(
                (
                    Rival(name=name, verdict=verdict, evidence=evidence)
                    for name, judge in _JUDGES.items()
                    for verdict, evidence in [judge(row)]
                ),
                key=lambda rival: order.index(rival.verdict),
            )
        )
        for row in described.to_dict("records")
    }


def rivals_frame(rivals: Mapping[str, tuple[Rival, ...]]) -> pd.DataFrame:
    """Lay the rivals of all failures out as the `rivals` frame of findings."""
    rows = [
        (life, rival.name, rival.verdict.value, rival.evidence, RIVALS[rival.name][0])
        for life, each in rivals.items()
        for rival in each
    ]
    return pd.DataFrame(rows, columns=list(empty_frame("rivals").columns))


Row = Mapping[Hashable, Any]
Judged = tuple[Verdict, str]


def _lot(row: Row) -> Judged:
    if not isinstance(row["lot"], str):
        return Verdict.OPEN, "no lot on record"
    if row["suspect"]:
        return Verdict.FOR, f"its lot {row['lot']} fails more often than duty explains"
    if row["mark_disagrees"]:
        return (
            Verdict.OPEN,
            f"its lot {row['lot']} does not stand out, but {_two_marks(row)}: the lot on record"
            " may be wrong",
        )
    return Verdict.AGAINST, f"its lot {row['lot']} does not stand out"


def _ratio(row: Row) -> Judged:
    ratio, limit = _number(row["operating_ratio"]), _number(row["limit"])
    if np.isnan(ratio) or np.isnan(limit):
        missing = "operating ratio" if np.isnan(ratio) else "limit of this disc's ratio"
        return Verdict.OPEN, f"no {missing} on record"
    if ratio > limit:
        return Verdict.FOR, f"operating ratio {ratio:.2f} above the limit {limit:.2f}"
    said = f"operating ratio {ratio:.2f}, limit {limit:.2f}"
    if row.get("pressure_basis") == "history":
        return Verdict.AGAINST, said
    near = ratio > limit * (1 - _NEAR)
    return Verdict.OPEN if near else Verdict.AGAINST, f"{said}, by the nominal pressure only"


def _wrong(row: Row) -> Judged:
    matched = row.get("tag_matches")
    read = matched in (True, False)
    mark, low, high = (_number(row[name]) for name in ("mark_barg", "asked_low", "asked_high"))
    if mark < low * (1 - _ROUNDED) or mark > high * (1 + _ROUNDED):
        tag = "" if not read else f"; the tag was recorded as {'' if matched else 'not '}matching"
        return Verdict.FOR, f"marked {mark:.4g} barg, {_asked(row)}{tag}"
    if read and not matched:
        return Verdict.FOR, "the tag did not match the position"
    if row["mark_disagrees"]:
        return Verdict.OPEN, f"{_two_marks(row)}: misread, or a disc of another lot"
    if not read:
        known = not np.isnan(mark + low + high)
        also = f"; its mark, {mark:.4g} barg, is one the position asks for" if known else ""
        return Verdict.OPEN, f"nobody recorded whether the tag matched the position{also}"
    return Verdict.AGAINST, "the tag was read and matched the position"


def _asked(row: Row) -> str:
    low, high = _number(row["asked_low"]), _number(row["asked_high"])
    return f"where the position asks today for {row['asked_code']}, {low:.4g} to {high:.4g} barg"


def _two_marks(row: Row) -> str:
    own, lot = _number(row["own_mark_barg"]), _number(row["mark_barg"])
    return f"its tag is logged as {own:.4g} barg and the lot's other records say {lot:.4g} barg"


def _cycles(row: Row) -> Judged:
    cycles, busy = _number(row["cycles_per_year"]), _number(row["busy"])
    if np.isnan(cycles):
        return Verdict.OPEN, "no pressure history here to count cycles in"
    said = f"about {cycles:,.0f} pressure cycles a year"
    if cycles >= busy:
        return Verdict.FOR, f"{said}, among the busiest tenth"
    return Verdict.AGAINST, f"{said}; the busiest tenth see {busy:,.0f} or more"


def _warmth(row: Row) -> Judged:
    warmer = _number(row["warmer"])
    if np.isnan(warmer):
        return Verdict.OPEN, "no temperature at the disc, or none on its tag, on record"
    word = "warmer" if warmer > 0 else "colder"
    said = f"disc {abs(warmer):.0f} °C {word} than its tag assumes"
    return (Verdict.FOR if abs(warmer) > WARMER_DEGC else Verdict.AGAINST), said


def _spike(row: Row) -> Judged:
    if row["reason"] != "burst":
        found = str(row["reason"]).replace("_", " ")
        return Verdict.AGAINST, f"logged as {found}, not as a burst"
    if np.isnan(_number(row["peak_pressure_barg"])):
        return Verdict.OPEN, "no peak pressure on record: a short spike is not ruled out"
    return (
        Verdict.AGAINST,
        "the peak on record lay below where it may burst; a spike between samples leaves no trace",
    )


_JUDGES: Mapping[str, Callable[[Row], Judged]] = {
    LOT: _lot,
    WRONG: _wrong,
    RATIO: _ratio,
    CYCLES: _cycles,
    WARMTH: _warmth,
    SPIKE: _spike,
}


def _number(value: object) -> float:
    return float("nan") if value is None or value is pd.NA else float(str(value))
