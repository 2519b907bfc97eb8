"""What would have been avoided over the log, had the installation or the duty been other?

Four kinds of change: every disc fitted clean, every crew as good as the best quarter, the ratio
lowered at the hardest positions, one install step mended. Each is asked alone. They do not add
up: a failure with two defects is avoided by mending either, so steps mended one by one sum to
more than all of them together, and no single one avoids more than the clean installation.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.best_practice import BestPractice, best_practice
from analytics.early.hardest import HARDEST, LoweredRatio, lowered_ratio
from analytics.early.worth import failure_costs
from analytics.errors import NotEstimable
from analytics.estimate import from_draws
from analytics.installs.checklist import CHECKLIST
from analytics.lives.events import Ending
from analytics.survival.fleet_data import RATIO, FleetData, defect_probabilities
from analytics.survival.left_in_place import OtherEndings, other_endings
from analytics.survival.model import LifeModel
from analytics.survival.two_hazard_changes import Avoided, Change, avoided_failures
from analytics.survival.two_hazard_draws import TwoHazardDraws

__all__ = [
    "BEST",
    "CLEAN",
    "LOWERED",
    "ends_otherwise",
    "remaining_years",
    "what_if",
    "with_unclear",
]

CLEAN, BEST, LOWERED = "clean", "best practice", "ratio"
"""Names of the changes that are no single step; a step goes by its check."""

_DAYS_PER_YEAR = 365.25

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """One change to ask of, or why it cannot be asked."""

    name: str
    about: str
    change: Change | None
    note: str
    positions: str = ""


def what_if(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    positions: pd.DataFrame,
    *,
    begins: date,
    export: date,
    lower_to: float | None = None,
    seed: int = 0,
) -> pd.DataFrame:
    """Say for each change how many failures it would have avoided, and what they cost.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    model : LifeModel
        The model in use.
    positions : DataFrame
        Checked table; `unplanned_cost` stands in where a failure's cost was not logged.
    begins, export : date
        First and last day the log covers.
    lower_to : float, optional
        Operating ratio to lower the hardest positions to; their family's median when left
        out. [-]
    seed : int, default 0
        Seed of the draws of unrecorded checks and of the crews' practice.

    Returns
    -------
    DataFrame
        The `what_if` frame of `analytics.findings.Findings`; a change that cannot be asked
        has blank numbers and its reason in `note`.

    Raises
    ------
    NotEstimable
        If no premature failure entered the model.

    Notes
    -----
    The count is of failures over the log, as the same positions would have had them: expected
    with and without the cause, the discs that follow included. A failure that would only have
    come later in the log is not counted as avoided. `not_then` counts the failures that would
    not have happened when they did, come what may later; with every disc clean these are the
    failures owed to the installation.
    For the ratio the same is done with the hazards under both duties, since what a lower ratio
    does is mostly to put wear off: counting its first effect alone would flatter it.

    The best quarter is that of the crews truly best in each check, a crew already better staying
    as it is; the limits carry that the records do not tell for sure which crews those are.

    The limits carry parameters, unrecorded checks and the crews' practice. Which single failures
    would not have been stays a matter of chance beyond them.
    """
    draws = _draws(model, fleet)
    ended = fleet.data.lifetimes.ended & (fleet.data.lifetimes.weight > 0)
    rows = fleet.life[ended]
    asked = _all_asked(lives, fleet, model, draws, rows, lower_to, seed)
    cost = failure_costs(lives, positions)[rows]
    priced = np.isfinite(cost)
    found = avoided_failures(
        draws,
        fleet.data,
        [each.change for each in asked if each.change is not None],
        others=ends_otherwise(lives, fleet),
        remaining_years=remaining_years(lives)[rows],
        tallies=np.column_stack([np.where(priced, cost, 0.0), ~priced]),
        seed=seed,
    )
    answers = iter(found)
    years = max((export - begins).days / _DAYS_PER_YEAR, 1 / _DAYS_PER_YEAR)
    table = pd.DataFrame(
        [
            _row(each, next(answers) if each.change else None, fleet.data.lifetimes.failures, years)
            for each in asked
        ]
    )
    order = table["change"].isin([CLEAN, BEST, LOWERED])
    steps = table[~order].sort_values("avoided", ascending=False, na_position="last")
    return pd.concat([table[order], steps], ignore_index=True)


def with_unclear(
    table: pd.DataFrame, all_unclear: pd.DataFrame | None, no_unclear: pd.DataFrame | None
) -> pd.DataFrame:
    """Set beside each count what it is with all unclear endings premature and with none.

    Parameters
    ----------
    table : DataFrame
        As `what_if` gives, unclear endings weighed.
    all_unclear, no_unclear : DataFrame or None
        The same with them read one way; None where that leaves too little to fit.

    Returns
    -------
    DataFrame
        With `avoided_all_unclear` and `avoided_no_unclear`. [failures]
    """
    beside = {
        name: table["change"].map(
            pd.Series(dtype=float) if other is None else other.set_index("change")["avoided"]
        )
        for name, other in (("all", all_unclear), ("no", no_unclear))
    }
    return table.assign(
        avoided_all_unclear=beside["all"].astype(float),
        avoided_no_unclear=beside["no"].astype(float),
    )


def _all_asked(
    lives: pd.DataFrame,
    fleet: FleetData,
    model: LifeModel,
    draws: TwoHazardDraws,
    rows: NDArray[np.intp],
    lower_to: float | None,
    seed: int,
) -> list[_Asked]:
    usual = defect_probabilities(fleet.design, lives)
    gone, names = np.zeros(len(rows)), fleet.data.defect_names
    lowered = _lowered(lives, fleet, draws, rows, usual, lower_to)
    if model.hazard_draws is None:
        return [lowered]
    clean = Change(practice=np.zeros(len(names)), kept=dict.fromkeys(range(len(names)), gone))
    steps = [
        Change(practice=np.where(np.arange(len(names)) == j, 0.0, usual), kept={j: gone})
        for j in range(len(names))
    ]
    return [
        _Asked(name=CLEAN, about="every disc fitted clean", change=clean, note=""),
        _best(lives, names, usual, rows, n_draws=len(draws.install_shape), seed=seed),
        lowered,
        *(
            _Asked(name=name, about=f"mended: {CHECKLIST[name].defect}", change=change, note="")
            for name, change in zip(names, steps, strict=True)
        ),
    ]


def _best(
    lives: pd.DataFrame,
    names: Sequence[str],
    usual: Array,
    rows: NDArray[np.intp],
    *,
    n_draws: int,
    seed: int,
) -> _Asked:
    about = "every crew as the best quarter"
    try:
        best = best_practice(lives, names, n_draws=n_draws, seed=seed)
    except NotEstimable as reason:
        return _Asked(name=BEST, about=about, change=None, note=str(reason))
    crew = pd.Categorical(lives["crew"].fillna("").astype(str), categories=best.crews).codes
    kept = {j: best.kept[name] for j, name in enumerate(names) if name in best.kept}
    practice = usual.copy()
    for j, each in kept.items():
        practice[:, j] *= each.mean(axis=0)[crew]
    change = Change(practice=practice, kept={j: each[:, crew[rows]] for j, each in kept.items()})
    return _Asked(name=BEST, about=about, change=change, note=_practice_in_words(best))


def _practice_in_words(best: BestPractice) -> str:
    """The checks in which the best quarter is furthest ahead of the fleet."""
    ahead = sorted(best.kept, key=lambda name: best.best[name].estimate - best.fleet[name])[:3]
    said = ", ".join(
        f"{CHECKLIST[name].defect} on {100 * best.best[name].estimate:.0f} % "
        f"[{100 * best.best[name].low:.0f} to {100 * best.best[name].high:.0f}] of records "
        f"instead of {100 * best.fleet[name]:.0f} %"
        for name in ahead
    )
    return f"by what the records say was done, not by outcome: {said}"


def _lowered(
    lives: pd.DataFrame,
    fleet: FleetData,
    draws: TwoHazardDraws,
    rows: NDArray[np.intp],
    usual: Array,
    to: float | None,
) -> _Asked:
    about = f"operating ratio lowered at the {HARDEST} hardest positions"
    try:
        lowered = lowered_ratio(lives, fleet, draws, to=to)
    except NotEstimable as reason:
        return _Asked(name=LOWERED, about=about, change=None, note=str(reason))
    shift = np.zeros((len(rows), len(fleet.data.wear_names)))
    shift[:, fleet.data.wear_names.index(RATIO)] = lowered.change[rows]
    return _Asked(
        name=LOWERED,
        about=about.replace(str(HARDEST), str(len(lowered.positions))),
        change=Change(practice=usual, wear_shift=shift),
        note=_ratio_in_words(lowered),
        positions=" ".join(lowered.positions),
    )


def _ratio_in_words(lowered: LoweredRatio) -> str:
    said = ", ".join(
        f"{value:.2f} ({family.replace('_', ' ')})" for family, value in lowered.target.items()
    )
    return f"lowered to {said}" + (f"; {lowered.note}" if lowered.note else "")


def _row(asked: _Asked, found: Avoided | None, failures: float, years: float) -> dict[str, object]:
    none = np.full(1, np.nan)
    avoided, money, unpriced = (none, none, none) if found is None else found.total.T
    row: dict[str, object] = {"change": asked.name, "about": asked.about}
    measures: Mapping[str, Array] = {
        "avoided": avoided,
        "share": avoided / failures,
        "per_year": avoided / years,
        "money": money,
    }
    for name, values in measures.items():
        found_at = None if found is None else from_draws(values)
        row[name] = found_at.estimate if found_at else np.nan
        row[f"{name}_low"] = found_at.low if found_at else np.nan
        row[f"{name}_high"] = found_at.high if found_at else np.nan
    row["not_then"] = np.nan if found is None else float(np.median(found.at_once))
    row["not_priced"] = float(np.median(unpriced))
    return row | {"positions": asked.positions, "note": asked.note}


def _draws(model: LifeModel, fleet: FleetData) -> TwoHazardDraws:
    """Parameter draws of the model; a regression is two hazards without the first."""
    if model.hazard_draws is not None:
        return model.hazard_draws
    assert model.regression is not None
    assert model.regression_draws is not None
    drawn = model.regression_draws
    n, checks = len(drawn), len(fleet.data.defect_names)
    effects = np.zeros((n, len(fleet.data.wear_names)))
    effects[:, [fleet.data.wear_names.index(name) for name in model.regression.names]] = drawn[
        :, 1:-1
    ]
    return TwoHazardDraws(
        install_log_rate=np.full(n, -np.inf),
        install_shape=np.ones(n),
        defect_effects=np.zeros((n, checks)),
        first_defect_effect=np.zeros(n),
        install_effects=np.zeros((n, 0)),
        wear_location=drawn[:, 0],
        wear_sigma=np.exp(drawn[:, -1]),
        wear_effects=effects,
        wear_defect_effects=np.zeros((n, checks)),
    )


def ends_otherwise(lives: pd.DataFrame, fleet: FleetData) -> OtherEndings:
    """Learn at which ages the discs of the fit ended otherwise than by a premature failure."""
    rows, times = lives.iloc[fleet.life], fleet.data.lifetimes
    otherwise = ~times.ended & rows["ending"].ne(Ending.IN_SERVICE.value).to_numpy()
    return other_endings(
        rows["age_years"].to_numpy(dtype=float),
        otherwise,
        entry_years=times.entry,
        weight=times.weight,
    )


def remaining_years(lives: pd.DataFrame) -> Array:
    """Give the time from each life's end to the end of its position's record. [years]"""
    last = lives.groupby("position_id")["ended_on"].transform("max")
    return (last - lives["ended_on"]).dt.total_seconds().to_numpy() / 86_400 / _DAYS_PER_YEAR
