"""Would the spares forecast have been right? The logs cut at earlier days, forecast, compared."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

import pandas as pd

from analytics.errors import InputError
from analytics.fleet import usage_log
from analytics.ledger import Ledger
from analytics.logs.reading import CheckedLogs
from analytics.plant import kept_plans, log_period, planned_weeks, read_plant
from analytics.spares.answer import NO_STORE, demand_forecast, every_code
from analytics.spares.backtest import Backtest, Group, backtest
from analytics.spares.demand import DemandForecast
from analytics.spares.past_policy import past_policy
from analytics.spares.stock import Settings, criticality_of, terms_of
from analytics.survival.fleet_data import event_weights
from analytics.survival.law import Array

__all__ = ["backtest_logs", "default_cuts", "logs_until"]

_LOOK_AHEAD_WEEKS = 40
"""What is ordered late in a horizon must last beyond it: a long lead time."""

_LEARN_YEARS = 2.0
"""A log shorter than this, or twice the horizon, before the first cut is hardly a forecast."""


def logs_until(logs: CheckedLogs, day: date) -> CheckedLogs:
    """Give the logs as they stood at the end of a day.

    Parameters
    ----------
    logs : CheckedLogs
        The whole logs.
    day : date
        Installs and removals after it had not happened yet; planned outages were
        known.

    Returns
    -------
    CheckedLogs
        With `day` as export date.
    """
    now = pd.Timestamp(day)
    tables = dict(logs.tables)
    for name, column in (("installs", "installed_on"), ("removals", "found_on")):
        tables[name] = tables[name][tables[name][column] <= now].reset_index(drop=True)
    later = tables["positions"]["in_service_from"] > now
    fitted = tables["positions"]["position_id"].isin(tables["installs"]["position_id"])
    tables["positions"] = tables["positions"][fitted | ~later].reset_index(drop=True)
    return replace(logs, tables=tables, settings=replace(logs.settings, export_date=day))


def default_cuts(
    begins: date, export: date, *, horizon_weeks: int, most: int
) -> list[pd.Timestamp]:
    """Give the latest days, a horizon apart, from which a forecast can be checked.

    Parameters
    ----------
    begins, export : date
        First and last day of the log.
    horizon_weeks : int
        Weeks each forecast speaks of. [weeks]
    most : int
        How many cuts at most.

    Returns
    -------
    list of Timestamp
        Ascending.

    Raises
    ------
    InputError
        If the log is too short for one cut.

    Examples
    --------
    >>> cuts = default_cuts(date(2018, 1, 1), date(2022, 1, 1), horizon_weeks=52, most=9)
    >>> [str(cut.date()) for cut in cuts]
    ['2020-01-04', '2021-01-02']
    """
    step = pd.Timedelta(weeks=horizon_weeks)
    first, last = pd.Timestamp(begins), pd.Timestamp(export) - step
    learn = min(pd.Timedelta(days=365.25 * _LEARN_YEARS), (last - first) * 0.999)
    earliest = first + max(learn, pd.Timedelta(days=365))
    cuts = [last - k * step for k in range(most) if last - k * step >= earliest]
    if not cuts:
        raise InputError(
            f"a backtest over {horizon_weeks} weeks needs a year of log before its first cut; the "
            f"log runs from {begins} to {export}: choose a shorter horizon"
        )
    return cuts[::-1]


def backtest_logs(
    logs: CheckedLogs,
    *,
    horizon_weeks: int,
    most_cuts: int,
    n_draws: int,
    seed: int,
    tell: Callable[[str], None] = lambda step: None,
) -> Backtest:
    """Forecast the discs used from earlier days and score what was said.

    Parameters
    ----------
    logs : CheckedLogs
        The whole logs.
    horizon_weeks : int
        Weeks each forecast speaks of, 1 to 104. [weeks]
    most_cuts : int
        How many earlier days at most.
    n_draws, seed : int
        Parameter draws and their seed.
    tell : callable
        Called with a few words before each cut.

    Returns
    -------
    Backtest
        Scores beside plain baselines.

    Raises
    ------
    InputError
        If the log is too short.
    NotEstimable
        If at a cut no life model could be fitted.

    Notes
    -----
    Every stage is run anew on what was known at the cut: lives, model, suspect lots,
    today's practice, upsets. The pressure history is left out, because its later part
    would tell of the future. A disc spoilt on fitting leaves no trace in the logs, so
    fitting losses are left out on both sides. Stock levels are replayed with today's
    prices and lead times, from the first cut to one horizon after the last.
    """
    if not 1 <= horizon_weeks <= 104:
        raise InputError(f"horizon must be 1 to 104 weeks, got {horizon_weeks}")
    begins, export = log_period(logs, Ledger())
    whole = read_plant(logs, None, Ledger(), n_draws=1, seed=seed)

    made: list[tuple[pd.Timestamp, DemandForecast]] = []

    def forecast(cut: pd.Timestamp, weeks: int) -> Mapping[Group, Array]:
        tell(f"as if it were {cut:%Y-%m-%d}")
        then, ledger = logs_until(logs, cut.date()), Ledger()
        plant = read_plant(then, None, ledger, n_draws=n_draws, seed=seed)
        if plant.fitted is None:
            raise InputError(
                f"at {cut:%Y-%m-%d} no life model could be fitted: "
                f"{ledger.not_answered['life model']}; choose fewer cuts"
            )
        found = demand_forecast(
            plant.lives,
            event_weights(plant.fitted.data, plant.lives),
            plant.today,
            plant.fitted.laws,
            planned_weeks(plant, then.tables["turnarounds"]),
            n_weeks=min(weeks + _LOOK_AHEAD_WEEKS, 104),
            fitting_loss=0.0,
            chances=kept_plans(plant, then.tables["turnarounds"], n_draws=n_draws, seed=seed),
        )
        made.append((cut, found))
        return {(group.store, group.disc_code): group.pmf[weeks] for group in found.groups}

    usage = usage_log(whole.lives, whole.today)
    usage["store"] = usage["store"].fillna(NO_STORE)
    found = backtest(
        forecast,
        usage,
        default_cuts(begins, export, horizon_weeks=horizon_weeks, most=most_cuts),
        begins=pd.Timestamp(begins),
        horizon_weeks=horizon_weeks,
    )
    tell("what the stock levels would have done")
    until = made[-1][0] + pd.Timedelta(weeks=horizon_weeks)
    return replace(found, policy=_replayed(logs, made, usage, pd.Timestamp(begins), until))


def _replayed(
    logs: CheckedLogs,
    made: list[tuple[pd.Timestamp, DemandForecast]],
    usage: pd.DataFrame,
    begins: pd.Timestamp,
    until: pd.Timestamp,
) -> pd.DataFrame:
    """Past use held against the stock levels of past forecasts, on the plan's own terms."""
    settings = Settings()
    positions = logs.tables["positions"]
    positions = positions.assign(store=positions["store"].fillna(NO_STORE))
    discs = every_code(logs.tables["discs"], positions)
    levels = criticality_of(positions)
    return past_policy(
        made,
        usage,
        {
            str(row["disc_code"]): terms_of(row, settings.holding_rate)[0]
            for row in discs.drop_duplicates("disc_code").to_dict("records")
        },
        {
            (group.store, group.disc_code): settings.targets[
                str(levels.get((group.store, group.disc_code), "A"))
            ]
            for _, forecast in made
            for group in forecast.groups
        },
        begins=begins,
        until=until,
    )
