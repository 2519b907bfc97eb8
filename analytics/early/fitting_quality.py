"""How well were the discs fitted, measured by the failures that a clean fitting would save?

The second measure beside checks passed of checks recorded: it weighs each defect by what it
does. Looking back, the failures avoided had the discs been fitted clean; looking ahead, the
failures that the defects on record add to the first year of 100 such installs, on the fleet's
middling duty, so that neither hard positions nor the time since the fitting count.
"""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.crews_and_lots import FEWEST_EVENTS
from analytics.estimate import from_draws
from analytics.survival.fleet_data import FleetData, defect_probabilities
from analytics.survival.law import survival
from analytics.survival.left_in_place import OtherEndings
from analytics.survival.two_hazard_changes import Change, avoided_failures
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law
from analytics.survival.two_hazard_shares import BLOCK

__all__ = ["FIRST_YEARS", "fitting_quality"]

FIRST_YEARS = 1.0
"""The age up to which 100 installs are followed. [years]"""

Array = NDArray[np.float64]


def fitting_quality(
    lives: pd.DataFrame,
    fleet: FleetData,
    draws: TwoHazardDraws,
    *,
    others: OtherEndings,
    remaining_years: Array,
) -> pd.DataFrame:
    """Measure the fitting of the fleet, each site, each crew and each year.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    fleet : FleetData
        What the model was fitted to.
    draws : TwoHazardDraws
        Parameter draws.
    others : OtherEndings
        How discs end otherwise than by a premature failure.
    remaining_years : ndarray, shape (n_lives,)
        Time from each life's end to the end of its position's record. [years]

    Returns
    -------
    DataFrame
        The `fitting` frame of `analytics.findings.Findings`; discs of known fitting date, by
        the year they were fitted in. Crews with fewer than `FEWEST_EVENTS` failures have
        blank numbers; they come by name, never ranked.
    """
    groups = _groups(lives)
    member = np.column_stack([rows for _, _, rows in groups]).astype(float)
    ended = fleet.data.lifetimes.ended & (fleet.data.lifetimes.weight > 0)
    rows = fleet.life[ended]
    gone = np.zeros(len(rows))
    columns = range(len(fleet.data.defect_names))
    (clean,) = avoided_failures(
        draws,
        fleet.data,
        [Change(practice=np.zeros(len(columns)), kept=dict.fromkeys(columns, gone))],
        others=others,
        remaining_years=remaining_years[rows],
        tallies=member[rows],
    )
    failures = fleet.data.lifetimes.weight[ended] @ member[rows]
    added = _added_in_first_years(lives, fleet, draws, member)
    table = []
    for place, (of, name, those) in enumerate(groups):
        few = of == "crew" and failures[place] < FEWEST_EVENTS
        row = {
            "of": of,
            "name": name,
            "installs": int(those.sum()),
            "passed": _passed(lives[those]),
            "failures": failures[place],
        }
        for what, drawn in (
            ("avoided", clean.total[:, 1 + place]),
            ("per_100", 100 * added[:, place]),
        ):
            found = from_draws(drawn)
            row[what] = np.nan if few else found.estimate
            row[f"{what}_low"] = np.nan if few else found.low
            row[f"{what}_high"] = np.nan if few else found.high
        row["passed"] = np.nan if few else row["passed"]
        row["note"] = f"fewer than {FEWEST_EVENTS} events: no number shown" if few else ""
        table.append(row)
    return pd.DataFrame(table)


def _groups(lives: pd.DataFrame) -> list[tuple[str, str, NDArray[np.bool_]]]:
    """What is measured: kind, name and the lives of each group."""
    dated = lives["installed_on"].notna().to_numpy()
    parts = [("fleet", "all", dated)]
    # of discs fitted before the log began only those are seen that lived until then
    year = lives["installed_on"].dt.year.astype("Int64")
    year = year.where(year >= lives["observed_from"].min().year).astype("string")
    for of, label in (("site", lives["site"]), ("crew", lives["crew"]), ("year", year)):
        names = label[dated].dropna().astype(str)
        parts += [
            (of, name, dated & label.eq(name).fillna(False).to_numpy(dtype=bool))
            for name in sorted(names.unique())
        ]
    return parts


def _passed(lives: pd.DataFrame) -> float:
    """Checks passed of checks recorded; NaN when none was."""
    recorded = float(lives["checks_recorded"].sum())
    return float(lives["checks_passed"].sum()) / recorded if recorded else float("nan")


def _added_in_first_years(
    lives: pd.DataFrame, fleet: FleetData, draws: TwoHazardDraws, member: Array
) -> Array:
    """Chance of failing in the first years that defects add, mean by group, (n_draws, n)."""
    defects = defect_probabilities(fleet.design, lives)
    clean = survival(life_law(draws), FIRST_YEARS)
    added = np.zeros((len(clean), member.shape[1]))
    for start in range(0, len(lives), BLOCK):
        rows = slice(start, start + BLOCK)
        fitted = survival(life_law(draws, defects=defects[rows]), FIRST_YEARS)
        added += (clean - fitted) @ member[rows]
    return np.asarray(added / np.maximum(member.sum(axis=0), 1.0))
