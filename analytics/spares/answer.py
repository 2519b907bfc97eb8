"""The storeroom planner's answer: demand, what the stock is good for, and what to order."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.fleet import disc_years_by_year
from analytics.intervals.kept import PlanChances
from analytics.lives.events import Ending
from analytics.spares.demand import DemandForecast, PositionDemand, forecast_demand
from analytics.spares.lists import PlannerLists, due_in_turnarounds, planner_lists
from analytics.spares.matching import match_stock
from analytics.spares.pooling import transfers
from analytics.spares.remarks import stock_remarks
from analytics.spares.stock import plan_stock
from analytics.spares.upsets import UpsetRates, gamma_rate_draws, upset_events, upset_rates
from analytics.survival.law import LifeLaw, cumulative_hazard
from analytics.survival.position_laws import PositionLaws

__all__ = [
    "NO_STORE",
    "SparesAnswer",
    "demand_forecast",
    "demand_positions",
    "every_code",
    "log_upset_rates",
    "spares_answer",
]

NO_STORE = "no store named"
"""Stands for the store of positions that name none."""

FITTING_LOSS = 0.03
"""Share of discs spoilt on fitting. Common practice, no source."""

N_DRAWS = 200
"""Parameter draws behind a demand forecast: its tails no longer move with more."""

SHORTEST_LIFE_YEARS = 30 / 365.25
_WILD_SHARE = 0.05

_OTHER = [Ending.OPPORTUNITY.value, Ending.WRONG_DISC.value, Ending.DANGEROUS.value]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SparesAnswer:
    """What to hold and what to order.

    Attributes
    ----------
    spares, weekly : DataFrame
        The `spares` and `demand_weekly` frames of `analytics.findings.Findings`.
    remarks : tuple of str
        What is odd about stock, orders and terms, in plain words.
    odd : DataFrame
        The same as a table, `what store disc_code detail mend`.
    lists : PlannerLists
        Moves between stores, kits, dead stock, pooling, budget.
    """

    spares: pd.DataFrame
    weekly: pd.DataFrame
    remarks: tuple[str, ...]
    odd: pd.DataFrame = field(default_factory=pd.DataFrame)
    lists: PlannerLists = field(default_factory=PlannerLists)


def spares_answer(
    tables: Mapping[str, pd.DataFrame],
    lives: pd.DataFrame,
    premature: pd.Series,
    today: pd.DataFrame,
    laws: PositionLaws,
    planned_weeks: list[tuple[int, ...]],
    export_date: pd.Timestamp,
    chances: PlanChances | None = None,
) -> SparesAnswer:
    """Plan the spares of every store and disc code.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        Checked logs; `stock`, `orders`, `positions`, `discs` and `turnarounds` are read.
    lives : DataFrame, one row per life
        The lives frame.
    premature : Series, index of `lives`
        To which part each life ended in a premature failure. [-]
    today : DataFrame, one row per position
        As `fitted_today` gives.
    laws : PositionLaws
        Life laws in the order of `today`.
    planned_weeks : list of tuple of int
        Weeks from now of each position's planned replacements. [weeks]
    export_date : Timestamp
        Week 0.
    chances : PlanChances, optional
        As in `demand_forecast`.

    Returns
    -------
    SparesAnswer
        The planner's table, its weekly curves and remarks.
    """
    positions = tables["positions"].assign(store=tables["positions"]["store"].fillna(NO_STORE))
    forecast = demand_forecast(lives, premature, today, laws, planned_weeks, chances=chances)
    stock, orders = tables["stock"], tables["orders"]
    discs = every_code(tables["discs"], positions)
    matching = match_stock(stock, positions, discs, export_date)
    alone, _ = plan_stock(forecast, matching, orders, positions, discs, export_date)
    moves = transfers(alone, stock, positions, discs, export_date)
    spares, weekly = plan_stock(
        forecast, matching, orders, positions, discs, export_date, moves=moves
    )
    places = today.assign(store=today["store"].fillna(NO_STORE))
    due = due_in_turnarounds(places, planned_weeks, tables["turnarounds"], export_date)
    odd = stock_remarks(stock, orders, tables["positions"], tables["discs"], export_date)
    return SparesAnswer(
        spares=spares,
        weekly=weekly,
        remarks=_sentences(odd),
        odd=odd,
        lists=planner_lists(forecast, spares, matching, moves, discs, due, export_date),
    )


def every_code(discs: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    """Add a blank row for each code that positions ask for and the discs table lacks.

    Parameters
    ----------
    discs, positions : DataFrame
        Checked logs.

    Returns
    -------
    DataFrame
        `discs` with the rows added; `remarks` says so.
    """
    strange = pd.unique(
        positions.loc[~positions["disc_code"].isin(discs["disc_code"]), "disc_code"]
    )
    whole = discs.reset_index(drop=True).reindex(range(len(discs) + len(strange)))
    whole.loc[len(discs) :, "disc_code"] = strange
    return whole


def demand_forecast(
    lives: pd.DataFrame,
    premature: pd.Series,
    today: pd.DataFrame,
    laws: PositionLaws,
    planned_weeks: list[tuple[int, ...]],
    *,
    n_weeks: int = 104,
    fitting_loss: float = FITTING_LOSS,
    one_by_one: bool = False,
    chances: PlanChances | None = None,
) -> DemandForecast:
    """Forecast the discs used by week, store and code; other arguments as `spares_answer`.

    Parameters
    ----------
    n_weeks : int
        Horizon. [weeks]
    fitting_loss : float
        Share of discs spoilt on fitting. [-]
    one_by_one : bool
        As in `forecast_demand`.
    chances : PlanChances, optional
        How likely the planned replacements are, for `N_DRAWS` draws or as many as the
        laws have; certain without it.

    Returns
    -------
    DemandForecast
        One entry per store and disc code.
    """
    demand = demand_positions(lives, premature, today, _steady(laws), planned_weeks, chances)
    upsets = log_upset_rates(lives, today, n_draws=len(demand.unclear_rate))
    return forecast_demand(
        demand, upsets, n_weeks=n_weeks, fitting_loss=fitting_loss, one_by_one=one_by_one
    )


def demand_positions(
    lives: pd.DataFrame,
    premature: pd.Series,
    today: pd.DataFrame,
    laws: PositionLaws,
    planned_weeks: list[tuple[int, ...]],
    chances: PlanChances | None = None,
) -> PositionDemand:
    """Lay out every position for the demand forecast; arguments as `spares_answer`."""
    n_draws = min(N_DRAWS, laws.current.wear_location.shape[0])
    other = _other_rate(lives, premature, n_draws)
    return PositionDemand(
        store=today["store"].fillna(NO_STORE).to_numpy(dtype=object),
        disc_code=today["disc_code"].to_numpy(dtype=object),
        unit=_unit(today).to_numpy(dtype=object),
        age_years=today["age_years"].to_numpy(dtype=float),
        planned_weeks=tuple(planned_weeks),
        current=_first(laws.current, n_draws),
        following=_first(laws.following, n_draws),
        unclear_rate=np.repeat(other, len(today), axis=1),
        due_chance=None if chances is None else chances.due[:n_draws],
        young_chance=None if chances is None else chances.young[:n_draws],
    )


def log_upset_rates(
    lives: pd.DataFrame, today: pd.DataFrame, *, n_draws: int = N_DRAWS
) -> UpsetRates | None:
    """Estimate how often upsets come to each unit and what they open; None if none came."""
    events = upset_events(lives)
    if events.empty:
        return None
    size = _unit(today).value_counts().sort_index()
    years = (lives["ended_on"].max() - lives["observed_from"].min()).days / 365.25
    return upset_rates(events, size, float(years), n_draws=n_draws)


def _sentences(remarks: pd.DataFrame) -> tuple[str, ...]:
    """One sentence per remark; what concerns a store or a code alike is said once."""
    said = {
        f"{row.what} ({', '.join(str(word) for word in (row.store, row.disc_code) if word)}): "
        f"{row.detail}; {row.mend}": None
        for row in remarks.itertuples()
    }
    return tuple(said)


def _unit(today: pd.DataFrame) -> pd.Series:
    return today["unit"].fillna(today["position_id"])


def _other_rate(lives: pd.DataFrame, premature: pd.Series, n_draws: int) -> Array:
    """Rate of endings that neither the laws nor the upsets count, (n_draws, 1). [1/years]"""
    unclear = lives["ending"].eq(Ending.UNCLEAR.value)
    count = float((1 - premature[unclear]).sum()) + int(lives["ending"].isin(_OTHER).sum())
    years = float(disc_years_by_year(lives).to_numpy().sum())
    return gamma_rate_draws(np.array([count + 0.5]), years, n_draws=n_draws)


def _steady(laws: PositionLaws) -> PositionLaws:
    """Leave out the rare draws in which discs last but weeks; refuse when they are not rare."""
    soon = np.maximum(
        cumulative_hazard(laws.following, SHORTEST_LIFE_YEARS),
        cumulative_hazard(laws.current, SHORTEST_LIFE_YEARS),
    )
    wild = (soon > 1).any(axis=1)
    if wild.mean() > _WILD_SHARE:
        raise NotEstimable(
            f"the failures on record leave a life so uncertain that in {wild.mean():.0%} of the "
            "parameter draws a disc lasts less than a month: no demand is forecast from that"
        )
    kept = np.flatnonzero(~wild)
    return PositionLaws(
        current=_pick(laws.current, kept),
        following=_pick(laws.following, kept),
        clean=_pick(laws.clean, kept),
    )


def _pick(law: LifeLaw, draws: NDArray[np.intp]) -> LifeLaw:
    return LifeLaw(
        family=law.family,
        wear_location=law.wear_location[draws],
        wear_sigma=law.wear_sigma[draws],
        install_log_rate=law.install_log_rate[draws],
        install_shape=law.install_shape[draws],
    )


def _first(law: LifeLaw, n_draws: int) -> LifeLaw:
    return _pick(law, np.arange(n_draws))
