"""The planner's other lists: kits, dead stock, what pooling saves, what money buys."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from analytics.spares.budget import Candidate, budget_curve
from analytics.spares.demand import DemandForecast
from analytics.spares.kits import turnaround_kits
from analytics.spares.matching import Matching
from analytics.spares.placing import best_places
from analytics.spares.policy import Terms, lead_time_pmf, mixed_over_lead_time
from analytics.spares.pooling import dead_stock, pooled_levels
from analytics.spares.stock import SERVICE_TARGETS, terms_of

__all__ = ["PlannerLists", "due_in_turnarounds", "planner_lists"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannerLists:
    """What the planner looks at beside the table of orders; empty frames when none.

    Attributes
    ----------
    moves : DataFrame
        Pieces to move between stores, as `pooling.transfers` gives.
    kits : DataFrame
        What each turnaround needs and when its list closes, as `kits.turnaround_kits`.
    dead : DataFrame
        Pieces nobody can take, as `pooling.dead_stock`.
    pooled : DataFrame
        What one shared stock would save, as `pooling.pooled_levels`.
    placing : DataFrame
        Where the pieces of each code serve best, as `placing.best_places`.
    budget : DataFrame
        The next pieces worth buying and the service they reach, as `budget.budget_curve`.
    """

    moves: pd.DataFrame = field(default_factory=pd.DataFrame)
    kits: pd.DataFrame = field(default_factory=pd.DataFrame)
    dead: pd.DataFrame = field(default_factory=pd.DataFrame)
    pooled: pd.DataFrame = field(default_factory=pd.DataFrame)
    placing: pd.DataFrame = field(default_factory=pd.DataFrame)
    budget: pd.DataFrame = field(default_factory=pd.DataFrame)


def planner_lists(
    forecast: DemandForecast,
    spares: pd.DataFrame,
    matching: Matching,
    moves: pd.DataFrame,
    discs: pd.DataFrame,
    due: pd.DataFrame,
    today: pd.Timestamp,
    *,
    holding_rate: float = 0.2,
    fitting_loss: float = 0.03,
) -> PlannerLists:
    """Put the lists together.

    Parameters
    ----------
    forecast : DemandForecast
        Demand by group.
    spares : DataFrame
        The planner's table.
    matching : Matching
        What the pieces in stock are good for.
    moves : DataFrame
        As from `pooling.transfers`.
    discs : DataFrame
        Checked log.
    due : DataFrame
        As from `due_in_turnarounds`.
    today : Timestamp
        Week 0.
    holding_rate, fitting_loss : float
        As in `Settings` and `forecast_demand`. [1/years, -]

    Returns
    -------
    PlannerLists
        Frames.
    """
    rows = discs.drop_duplicates("disc_code").to_dict("records")
    terms = {str(row["disc_code"]): terms_of(row, holding_rate)[0] for row in rows}
    # A move between stores is proposed before any order, so a kit may count on it too.
    usable = spares.assign(usable=spares["usable_stock"] + spares["move_in"])
    return PlannerLists(
        moves=moves,
        kits=turnaround_kits(due, terms, usable, today, fitting_loss=fitting_loss),
        dead=dead_stock(matching, discs),
        pooled=pooled_levels(forecast.groups, terms, _targets(spares)),
        placing=best_places(forecast, spares, matching, terms),
        budget=budget_curve(_candidates(forecast, spares, terms)),
    )


def due_in_turnarounds(
    places: pd.DataFrame,
    planned_weeks: list[tuple[int, ...]],
    turnarounds: pd.DataFrame,
    today: pd.Timestamp,
) -> pd.DataFrame:
    """List the planned replacements that fall into a turnaround of their position's group.

    Parameters
    ----------
    places : DataFrame, one row per position
        `turnaround_group store disc_code` are read.
    planned_weeks : list of tuple of int
        Per position the weeks of its planned replacements. [weeks]
    turnarounds : DataFrame
        Checked log.
    today : Timestamp
        Week 0.

    Returns
    -------
    DataFrame
        `turnaround_group starts_on store disc_code`, one row per replacement.
    """
    week = np.ceil((turnarounds["starts_on"] - today).dt.days / 7).astype(int)
    starts = {
        (group, when): day
        for group, when, day in zip(
            turnarounds["turnaround_group"], week, turnarounds["starts_on"], strict=True
        )
    }
    columns = ["turnaround_group", "starts_on", "store", "disc_code"]
    rows = [
        (place["turnaround_group"], starts[place["turnaround_group"], when])
        + (place["store"], place["disc_code"])
        for place, weeks in zip(places.to_dict("records"), planned_weeks, strict=True)
        for when in weeks
        if (place["turnaround_group"], when) in starts
    ]
    return pd.DataFrame(rows, columns=columns)


def _targets(spares: pd.DataFrame) -> dict[str, float]:
    """The highest target of each code in any store."""
    return {
        str(code): float(target)
        for code, target in spares.groupby("disc_code")["target"].max().items()
    }


def _candidates(
    forecast: DemandForecast, spares: pd.DataFrame, terms: Mapping[str, Terms]
) -> list[Candidate]:
    """Codes with a price; a met demand counts by how rarely a shortage is allowed."""
    found = []
    for group, row in zip(forecast.groups, spares.to_dict("records"), strict=True):
        deal = terms[group.disc_code]
        if not deal.unit_price > 0:
            continue
        lead = lead_time_pmf(
            deal.lead_time_weeks, deal.lead_time_sd_weeks, longest=len(group.pmf) - 1
        )
        found.append(
            Candidate(
                store=group.store,
                disc_code=group.disc_code,
                demand=mixed_over_lead_time(group.pmf, lead, start=1),
                held=int(row["usable_stock"]) + int(row["on_order"]) + int(row["move_in"]),
                unit_price=deal.unit_price,
                weight=(1 - SERVICE_TARGETS["A"]) / (1 - float(row["target"])),
            )
        )
    return found
