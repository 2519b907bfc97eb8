"""What the site does today: its interval, its costs and how often upsets open its discs."""

import numpy as np
import pandas as pd

from analytics.lives.events import Ending
from analytics.lives.unclear import premature_weight

__all__ = ["todays_interval", "todays_practice"]

_SHORTEST_YEARS = 30 / 365.25
"""A planned replacement of a younger disc is a correction, not an interval."""

_RUN_TO_FAILURE_YEARS = 6.0
"""A position watched this long without a planned replacement is run to failure."""


def todays_practice(lives: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    r"""Find today's interval, the costs and the rate of upsets of every position.

    .. math:: \delta = \frac{n_{unit} + 1}{T_{unit} + 1 / \delta_{fleet}}

    Parameters
    ----------
    lives : DataFrame, one row per life
        Columns of DEVELOPERS.md; `cost` may be blank.
    positions : DataFrame, one row per position
        Checked positions table.

    Returns
    -------
    DataFrame, one row per position, index as `positions`
        `today_years` (median age at planned replacement: the position's own, else that of its
        outage group; inf when it is run to failure, NaN when nobody can tell) and
        `longest_years` (the oldest disc it has replaced as planned) [years],
        `planned_cost unplanned_cost demand_cost` (the position's own, else the median of what
        such endings cost its disc code, else the fleet; NaN when nowhere on record) [currency],
        `demand_rate` [1/years], `inferred` (what stood in, in plain words).
    """
    demand = _demand_weight(lives)
    planned, planned_said = _cost(positions, lives, "planned_cost", Ending.PLANNED)
    unplanned, unplanned_said = _cost(positions, lives, "unplanned_cost", Ending.PREMATURE)
    opened = _median(positions, lives[demand > 0], "cost", "disc_code")
    return pd.DataFrame(
        {
            **_interval(lives, positions),
            "planned_cost": planned,
            "unplanned_cost": unplanned,
            "demand_cost": opened.fillna(unplanned),
            "demand_rate": _demand_rate(lives, demand, positions),
            "inferred": (planned_said + " " + unplanned_said).str.strip(),
        },
        index=positions.index,
    )


def todays_interval(lives: pd.DataFrame, positions: pd.DataFrame) -> pd.Series:
    """Give `today_years` of `todays_practice` alone. [years]"""
    return _interval(lives, positions)["today_years"]


def _interval(lives: pd.DataFrame, positions: pd.DataFrame) -> dict[str, pd.Series]:
    """Median and longest planned age; discs fitted in the run of a plan come first.

    A disc fitted after a mid-cycle failure is replaced young with the others, so only where no
    planned replacement follows another do such ages stand in.
    """
    ordered = lives.sort_values(["position_id", "installed_on"])
    before = ordered.groupby("position_id")["ending"].shift()
    taken = ordered["ending"].eq(Ending.PLANNED.value) & ordered["age_known"].eq(True)
    taken &= ordered["age_years"] >= _SHORTEST_YEARS
    in_turn = taken & before.isin([Ending.PLANNED.value, Ending.OPPORTUNITY.value])
    names = positions["position_id"]
    own = names.map(_per_position(ordered[in_turn], "median"))
    own = own.fillna(names.map(_per_position(ordered[taken], "median")))
    watched = (lives["age_years"] - lives["entry_years"]).groupby(lives["position_id"]).sum()
    group = positions.set_index("position_id")["turnaround_group"]
    groups = ordered.loc[taken, "position_id"].map(group)
    shared = positions["turnaround_group"].map(
        ordered.loc[taken, "age_years"].groupby(groups).median()
    )
    young = names.map(watched).fillna(0.0) < _RUN_TO_FAILURE_YEARS
    today = own.fillna(shared.where(young, np.inf)).astype(float)
    longest = names.map(_per_position(ordered[taken], "max")).astype(float)
    return {"today_years": today, "longest_years": longest.fillna(today).clip(lower=today)}


def _per_position(lives: pd.DataFrame, what: str) -> pd.Series:
    return lives.groupby("position_id")["age_years"].agg(what)


def _cost(
    positions: pd.DataFrame, lives: pd.DataFrame, column: str, ending: Ending
) -> tuple[pd.Series, pd.Series]:
    """Cost per position and, where it was not given, what stood in."""
    given = positions[column].where(positions[column] > 0)
    seen = _median(positions, lives[lives["ending"].eq(ending.value)], "cost", "disc_code")
    said = pd.Series("", index=positions.index)
    said = said.mask(given.isna() & seen.notna(), f"{column} from like removals.")
    said = said.mask(given.isna() & seen.isna(), f"{column} is nowhere on record.")
    return given.fillna(seen).astype(float), said


def _median(positions: pd.DataFrame, rows: pd.DataFrame, value: str, by: str) -> pd.Series:
    """Median by a column of the positions, else over all rows."""
    known = rows[rows[value] > 0]
    overall = known[value].median() if len(known) else np.nan
    return positions[by].map(known.groupby(by)[value].median()).fillna(overall).astype(float)


def _demand_weight(lives: pd.DataFrame) -> pd.Series:
    """To which part each life was ended by an upset; unclear ones by what is not premature."""
    told = lives["ending"].eq(Ending.DEMAND.value).astype(float)
    doubt = lives["ending"].eq(Ending.UNCLEAR.value) & lives["reason"].eq("burst")
    return told.mask(doubt, 1.0 - premature_weight(lives))


def _demand_rate(lives: pd.DataFrame, weight: pd.Series, positions: pd.DataFrame) -> pd.Series:
    years = (lives["age_years"] - lives["entry_years"]).clip(lower=0.0)
    unit = lives["unit"].fillna(lives["position_id"])
    total = float(years.sum())
    fleet = float(weight.sum()) / total if total > 0 else 0.0
    if fleet == 0:
        return pd.Series(0.0, index=positions.index)
    rate = (weight.groupby(unit).sum() + 1.0) / (years.groupby(unit).sum() + 1.0 / fleet)
    own = positions["unit"].fillna(positions["position_id"])
    return own.map(rate).fillna(fleet).astype(float)
