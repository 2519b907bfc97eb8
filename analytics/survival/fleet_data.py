"""From the lives frame to the numbers a life model takes, and what it cannot be asked.

A covariate enters only when the logs can speak of it: a check that nobody recorded,
or that never failed, a ratio that is the same everywhere, a family without failures
are left out, and the reason is kept for the reader.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.errors import NotEstimable
from analytics.installs.checklist import CHECKLIST, DEFECTS
from analytics.lives.events import Ending
from analytics.survival.changing_duty import ChangingDuty, equivalent_duty, used_life
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.two_hazard_data import TwoHazardData, fill_unrecorded, two_hazard_data

__all__ = [
    "CYCLES",
    "RATIO",
    "Design",
    "FleetData",
    "choose_design",
    "defect_probabilities",
    "event_weights",
    "fleet_data",
    "wear_columns",
    "wear_of_lives",
    "with_equivalent_duty",
]

RATIO = "ln operating ratio"
CYCLES = "ln cycles per year"

Array = NDArray[np.float64]

_FEWEST_DEFECTS = 3
"""Fewer lives than this with a defect say nothing of it; the prior would answer alone."""

_FEWEST_FAMILY_LIVES = 10

_FEWEST_CYCLES = 0.1
"""Cycles a year of a position whose history shows none: one in ten years. [1/years]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """Which covariates enter, and the values they are centred at.

    Attributes
    ----------
    defects : tuple of str
        Checks whose failure enters the installation hazard.
    log_ratio : float or None
        Median ln operating ratio of the fleet; None when the ratio does not enter. [-]
    log_cycles : float or None
        Median ln cycles per year of the fleet; None when cycles do not enter. [-]
    service_log_cycles : mapping of str to float
        The same by service, for positions without a history. [-]
    families : tuple of str
        Families with a column of their own; the others are the reference.
    lots : tuple of str
        Suspect lots with a column of their own, so that they do not bend the rest.
    not_answered : mapping of str to str
        What could not enter, and why.
    """

    defects: tuple[str, ...]
    log_ratio: float | None
    log_cycles: float | None
    service_log_cycles: Mapping[str, float]
    families: tuple[str, ...]
    lots: tuple[str, ...]
    not_answered: Mapping[str, str]

    @property
    def wear_names(self) -> tuple[str, ...]:
        """Name of each wear covariate, in column order."""
        names = [
            *([RATIO] if self.log_ratio is not None else []),
            *([CYCLES] if self.log_cycles is not None else []),
            *(f"family {family}" for family in self.families),
            *(f"lot {lot}" for lot in self.lots),
        ]
        return tuple(names)


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetData:
    """What the life model is fitted to.

    Attributes
    ----------
    data : TwoHazardData
        One row per life, two for an unclear one (ended with its weight, and not).
    life : ndarray of int, shape (n,)
        Row of the lives frame behind each row of `data`.
    design : Design
        How covariates were made.
    """

    data: TwoHazardData
    life: NDArray[np.int_]
    design: Design


def choose_design(lives: pd.DataFrame, suspect_lots: Iterable[str] = ()) -> Design:
    """Choose the covariates the lives can speak of.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    suspect_lots : iterable of str
        Lots that get a covariate of their own.

    Returns
    -------
    Design
        Covariates, their centres, and the reasons for those left out.
    """
    reasons: dict[str, str] = {}
    ratio = _centre(lives["operating_ratio"], RATIO, reasons)
    cycles = _centre(_cycles(lives), CYCLES, reasons)
    by_service = _cycles(lives).groupby(lives["service"]).median().dropna()
    return Design(
        defects=_defects(lives, reasons),
        log_ratio=ratio,
        log_cycles=cycles,
        service_log_cycles={str(name): float(np.log(v)) for name, v in by_service.items() if v > 0},
        families=_families(lives),
        lots=tuple(sorted(suspect_lots)),
        not_answered=reasons,
    )


def wear_columns(design: Design, lives: pd.DataFrame) -> Array:
    """Give the wear covariates of each life.

    Parameters
    ----------
    design : Design
        Which covariates, and their centres.
    lives : DataFrame, one row per life
        Needs `operating_ratio`, `cycles_per_year`, `service`, `family`, `lot`.

    Returns
    -------
    ndarray, shape (n_lives, n_wear)
        Columns named by `design.wear_names`; an unknown value takes the median of
        its service, then of the fleet. [-]
    """
    columns = []
    if design.log_ratio is not None:
        columns.append(_log(lives["operating_ratio"]).fillna(design.log_ratio) - design.log_ratio)
    if design.log_cycles is not None:
        of_service = lives["service"].map(design.service_log_cycles).astype(float)
        filled = _log(_cycles(lives)).fillna(of_service).fillna(design.log_cycles)
        columns.append(filled - design.log_cycles)
    columns += [lives["family"].eq(family).astype(float) for family in design.families]
    columns += [lives["lot"].eq(lot).astype(float) for lot in design.lots]
    if not columns:
        return np.empty((len(lives), 0))
    return np.column_stack([column.to_numpy(dtype=float) for column in columns])


def defect_probabilities(design: Design, lives: pd.DataFrame) -> Array:
    """Give the probability of each defect on each life's install.

    Parameters
    ----------
    design : Design
        Which defects.
    lives : DataFrame, one row per life
        Needs the checks, `crew` and `installed_on`.

    Returns
    -------
    ndarray, shape (n_lives, n_defects)
        1 found, 0 passed, and where nobody recorded it the prevalence among the
        records of the same crew and year, drawn towards the fleet's. [-]
    """
    found = (
        np.column_stack(
            [
                1.0 - lives[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
                for name in design.defects
            ]
        )
        if design.defects
        else np.empty((len(lives), 0))
    )
    strata = lives["crew"].fillna("").astype(str) + "/" + lives["installed_on"].dt.year.astype(str)
    return fill_unrecorded(found, strata.to_numpy())


def fleet_data(
    lives: pd.DataFrame,
    weight: pd.Series,
    suspect_lots: Iterable[str] = (),
    duty_steps: pd.DataFrame | None = None,
) -> FleetData:
    """Make the life model's data from the lives frame.

    Parameters
    ----------
    lives : DataFrame, one row per life, index 0..n-1
        The lives frame.
    weight : Series, same index
        To which part each life ended in a premature failure. [-]
    suspect_lots : iterable of str
        Lots that get a covariate of their own.
    duty_steps : DataFrame, optional
        Duty of the lives whose duty changed, stretch by stretch, as
        `analytics.duty.steps.duty_steps` gives it. Without it each life has one duty.

    Returns
    -------
    FleetData
        Lives with a known age. A disc that was the wrong one is not a life, and an
        operating ratio above 1 is an alarm or a typing error, not a covariate: both
        are left out.

    Raises
    ------
    NotEstimable
        If no life has a known age.
    """
    known = lives["age_known"] & lives["ending"].ne(Ending.WRONG_DISC.value)
    usable = known & ~lives["operating_ratio"].gt(1.0)
    if not usable.any():
        raise NotEstimable(
            f"all {int(known.sum())} lives of known age ran at an operating ratio above 1: "
            "mend the pressures first"
            if known.any()
            else "no life has a known age: the logs need install dates before endings"
        )
    design = choose_design(lives[usable], suspect_lots)
    failed, survived = (usable & (weight > 0)), (usable & (weight < 1))
    life = np.concatenate([np.flatnonzero(failed), np.flatnonzero(survived)])
    is_event = np.arange(len(life)) < int(failed.sum())
    rows = lives.iloc[life]
    part = weight.to_numpy()[life]
    age = rows["age_years"].to_numpy(dtype=float)
    times = lifetimes(
        np.where(is_event, rows["lower_years"].to_numpy(dtype=float), age),
        np.where(is_event, rows["upper_years"].to_numpy(dtype=float), np.inf),
        entry=rows["entry_years"].to_numpy(dtype=float),
        weight=np.where(is_event, part, 1.0 - part),
    )
    wear = wear_columns(design, rows)
    changing = None if duty_steps is None else _changing(design, rows, duty_steps)
    if changing is not None:
        wear[changing.row] = used_life(
            changing, _last_ages(times)[changing.row], np.zeros(wear.shape[1])
        ).mean
    data = two_hazard_data(
        times,
        defects=defect_probabilities(design, lives)[life],
        defect_names=design.defects,
        wear_design=wear,
        wear_names=design.wear_names,
    )
    return FleetData(data=replace(data, changing=changing), life=life, design=design)


def _last_ages(times: Lifetimes) -> Array:
    """Age at which each life ended or was last seen; the later end of an interval. [years]"""
    return np.where(times.ended, times.upper, times.lower)


def with_equivalent_duty(fleet: FleetData, effects: Array, shape: float) -> FleetData:
    """Stand constant duties in for the changing ones, now that the effects of duty are known.

    Parameters
    ----------
    fleet : FleetData
        What the model was fitted to.
    effects : ndarray, shape (n_wear,)
        Change of log life per unit of each wear covariate. [1/unit]
    shape : float
        Weibull shape of wear. [-]

    Returns
    -------
    FleetData
        The same, each row of `wear_design` whose duty changed being the constant duty that
        uses as much life, so that what is asked of these lives later needs no stretches.
    """
    data = fleet.data
    if data.changing is None:
        return fleet
    ages = _last_ages(data.lifetimes)[data.changing.row]
    same_exposure, same_hazard = equivalent_duty(data.changing, ages, effects, shape)
    wear = data.wear_design.copy()
    wear[data.changing.row] = same_exposure
    changing = replace(data.changing, at_end=same_hazard)
    return replace(fleet, data=replace(data, wear_design=wear, changing=changing))


def wear_of_lives(fleet: FleetData, lives: pd.DataFrame) -> Array:
    """Give the wear covariates of every life, equivalent ones where its duty changed.

    Parameters
    ----------
    fleet : FleetData
        What the model was fitted to.
    lives : DataFrame, one row per life, index 0..n-1
        The lives frame it was made from.

    Returns
    -------
    ndarray, shape (n_lives, n_wear)
    """
    wear = wear_columns(fleet.design, lives)
    wear[fleet.life] = fleet.data.wear_design
    return wear


def _changing(design: Design, rows: pd.DataFrame, steps: pd.DataFrame) -> ChangingDuty | None:
    """Lay the stretches of the lives in `rows` side by side."""
    number = steps.groupby("install_id", sort=False).cumcount()
    of_life = {name: group.index for name, group in steps.groupby("install_id", sort=False)}
    row = np.flatnonzero(rows["life_id"].isin(list(of_life)).to_numpy())
    if not row.size or not design.wear_names[:1] or design.wear_names[0] not in (RATIO, CYCLES):
        return None
    kept = rows.iloc[row]
    counts = np.array([len(of_life[name]) for name in kept["life_id"]])
    which = np.repeat(np.arange(len(row)), counts)
    told = np.concatenate([np.asarray(of_life[name]) for name in kept["life_id"]])
    step = number.to_numpy()[told]
    duty = kept.iloc[which].assign(
        operating_ratio=steps["operating_ratio"].to_numpy()[told],
        cycles_per_year=steps["cycles_per_year"].to_numpy()[told],
    )
    columns = wear_columns(design, duty)
    last = columns[np.cumsum(counts) - 1]
    side_by_side = np.repeat(last[:, None, :], int(counts.max()), axis=1)
    side_by_side[which, step] = columns
    stop = np.full(side_by_side.shape[:2], np.inf)
    inner = step < counts[which] - 1
    stop[which[inner], step[inner]] = steps["to_years"].to_numpy()[told][inner]
    return ChangingDuty(row=row, stop=stop, design=side_by_side, at_end=last)


def event_weights(fleet: FleetData, lives: pd.DataFrame) -> pd.Series:
    """Give to which part each life counted as a premature failure in the fit.

    Parameters
    ----------
    fleet : FleetData
        What the model was fitted to.
    lives : DataFrame, one row per life
        The lives frame it was made from.

    Returns
    -------
    Series of float, index of `lives`
        1 for a premature failure, a part of 1 for an unclear ending, else 0;
        also 0 for lives that did not enter the fit. [-]
    """
    ended = fleet.data.lifetimes.ended
    weight = np.zeros(len(lives))
    weight[fleet.life[ended]] = fleet.data.lifetimes.weight[ended]
    return pd.Series(weight, index=lives.index)


def _log(values: pd.Series) -> pd.Series:
    positive = values.astype(float).where(values.astype(float) > 0)
    return pd.Series(np.log(positive.to_numpy(dtype=float)), index=values.index)


def _cycles(lives: pd.DataFrame) -> pd.Series:
    cycles: pd.Series = lives["cycles_per_year"].astype(float)
    return cycles.clip(lower=_FEWEST_CYCLES)


def _centre(values: pd.Series, name: str, reasons: dict[str, str]) -> float | None:
    logs = _log(values).dropna()
    if logs.empty:
        reasons[name.removeprefix("ln ")] = "the logs give none"
        return None
    if logs.nunique() == 1:
        reasons[name.removeprefix("ln ")] = "it is the same for every life"
        return None
    return float(logs.median())


def _defects(lives: pd.DataFrame, reasons: dict[str, str]) -> tuple[str, ...]:
    chosen = []
    for name in DEFECTS:
        recorded = int(lives[name].notna().sum())
        failed = recorded - int(lives[name].fillna(False).sum())
        if recorded == 0:
            reasons[CHECKLIST[name].defect] = "the check was never recorded"
        elif failed < _FEWEST_DEFECTS or failed == recorded:
            reasons[CHECKLIST[name].defect] = f"{failed} of {recorded} recorded checks failed"
        else:
            chosen.append(name)
    return tuple(chosen)


def _families(lives: pd.DataFrame) -> tuple[str, ...]:
    """Families with enough lives for a column, but for the commonest, the reference."""
    counts = lives["family"].value_counts()
    return tuple(sorted(str(name) for name in counts[counts >= _FEWEST_FAMILY_LIVES].index[1:]))
