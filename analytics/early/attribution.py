"""What the early failures were owed to: fleet totals by install step, and one row per failure."""

from collections.abc import Hashable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from analytics.early.crews_and_lots import stand_out
from analytics.early.rivals import RIVALS, SPIKE, Rival, Verdict
from analytics.early.worth import COST, NOT_PRICED
from analytics.estimate import Estimate, from_draws
from analytics.installs.checklist import CHECKLIST, DEFECTS
from analytics.lives.events import Ending
from analytics.survival.fleet_data import FleetData
from analytics.survival.law import survival
from analytics.survival.two_hazard import TwoHazardFit
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law
from analytics.survival.two_hazard_shares import OwedShares

__all__ = ["advice", "defect_table", "failure_table"]

Array = NDArray[np.float64]

_MOSTLY = 0.5
_HARDLY = 0.2


def defect_table(
    lives: pd.DataFrame,
    fleet: FleetData,
    fit: TwoHazardFit,
    owed: OwedShares,
    *,
    years: float = 1.0,
) -> pd.DataFrame:
    """Say for each install step how many failures its defects carry.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame `fleet` was made from.
    fleet : FleetData
        What the model was fitted to.
    fit : TwoHazardFit
        The fit.
    owed : OwedShares
        Shares of the failures of `fleet.data`; summed by `owed_tallies`, else no cost is given.
    years : float, default 1
        How long the log covers. [years]

    Returns
    -------
    DataFrame, most failures first
        The `defects` frame of `analytics.findings.Installation`; checks that could
        not enter the model are kept with blank numbers. `flagged`: the effect stands out
        among all checks by the rule that crews and lots are judged by.
    """
    worth = _worth(fleet, owed)
    rows = []
    for name in DEFECTS:
        recorded = lives[name].notna()
        failed = recorded & ~lives[name].fillna(True)
        row: dict[str, object] = {
            "check": name,
            "about": CHECKLIST[name].defect,
            "mend": CHECKLIST[name].mend,
            "recorded_pct": 100 * float(recorded.mean()),
            "defect_pct": 100 * float(failed.sum() / max(int(recorded.sum()), 1)),
            "not_priced": worth[name][1] if name in worth else np.nan,
        }
        for what, found in (
            ("log_effect", fit.estimates.defect_effects.get(name)),
            ("failures_owed", owed.defect_owed.get(name)),
            ("cost_owed", worth[name][0] if name in worth else None),
        ):
            row[what] = found.estimate if found else np.nan
            row[f"{what}_low"] = found.low if found else np.nan
            row[f"{what}_high"] = found.high if found else np.nan
        rows.append(row)
    table = pd.DataFrame(rows)
    for end in ("", "_low", "_high"):
        table[f"owed_per_year{end}"] = table[f"failures_owed{end}"] / years
    spread = (table["log_effect_high"] - table["log_effect_low"]) / (2 * norm.ppf(0.975))
    table["flagged"] = stand_out(norm.sf((table["log_effect"] / spread).to_numpy(dtype=float)))
    return table.sort_values("failures_owed", ascending=False, ignore_index=True)


def _worth(fleet: FleetData, owed: OwedShares) -> dict[str, tuple[Estimate, float]]:
    """Cost of the failures owed to each defect, and how many of them have no cost."""
    if owed.tallied.shape[2] == 0:
        return {}
    return {
        name: (from_draws(drawn[:, COST]), float(np.median(drawn[:, NOT_PRICED])))
        for name, drawn in zip(
            fleet.data.defect_names, owed.tallied.transpose(1, 0, 2), strict=True
        )
    }


def failure_table(
    lives: pd.DataFrame,
    fleet: FleetData,
    draws: TwoHazardDraws,
    owed: OwedShares,
    rivals: Mapping[str, tuple[Rival, ...]],
) -> pd.DataFrame:
    """Give one row per premature failure: its age, its share and what else could explain it.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame `fleet` was made from.
    fleet : FleetData
        What the model was fitted to.
    draws : TwoHazardDraws
        Parameter draws.
    owed : OwedShares
        Shares of the failures of `fleet.data`.
    rivals : mapping of str to tuple of Rival
        Other explanations by life_id.

    Returns
    -------
    DataFrame, newest first
        The `failures` frame of `analytics.findings.Installation`. `percentile` is
        the chance that a cleanly fitted disc at the same duty would have failed by
        that age [-], with 95 % limits.
    """
    kept = lives["ending"].to_numpy()[fleet.life[owed.failures]] == Ending.PREMATURE.value
    which = owed.failures[kept]
    rows = lives.iloc[fleet.life[which]].reset_index(drop=True)
    clean = life_law(draws, wear_design=fleet.data.wear_design[which])
    by_then = 1 - survival(clean, rows["age_years"].to_numpy(dtype=float))
    table: pd.DataFrame = rows[
        ["life_id", "position_id", "site", "disc_code", "crew", "lot", "ended_on", "age_years"]
    ].assign(
        percentile=np.median(by_then, axis=0),
        percentile_low=np.quantile(by_then, 0.025, axis=0),
        percentile_high=np.quantile(by_then, 0.975, axis=0),
        share=owed.estimate[kept],
        share_low=owed.low[kept],
        share_high=owed.high[kept],
        main_defect=_main_defect(fleet, owed.defect_share[kept], which),
        defects_found=[_found(row) for _, row in rows[list(DEFECTS)].iterrows()],
        rivals=[
            "; ".join(one.evidence for one in _alive(rivals, life)) for life in rows["life_id"]
        ],
    )
    table["advice"] = [
        advice(str(row["main_defect"]), float(str(row["share"])), _alive(rivals, row["life_id"]))
        for row in table.to_dict("records")
    ]
    newest: pd.DataFrame = table.sort_values("ended_on", ascending=False, ignore_index=True)
    return newest


def _main_defect(fleet: FleetData, parts: Array, which: NDArray[np.intp]) -> list[str]:
    """Name of the recorded defect that carries most of each failure; blank when none was."""
    recorded = np.where(fleet.data.defects[which] == 1.0, parts, -np.inf)
    if recorded.shape[1] == 0:
        return [""] * len(which)
    best = recorded.argmax(axis=1)
    names = np.array(fleet.data.defect_names, dtype=object)
    return [str(names[b]) if recorded[i, b] > 0 else "" for i, b in enumerate(best)]


def _found(checks: "pd.Series[bool]") -> str:
    return "; ".join(CHECKLIST[str(name)].defect for name, ok in checks.items() if ok is False)


def _alive(rivals: Mapping[str, tuple[Rival, ...]], life: Hashable) -> list[Rival]:
    """Rivals the record points to, and a spike that nothing rules out."""
    return [
        one
        for one in rivals.get(str(life), ())
        if one.verdict is Verdict.FOR or (one.verdict is Verdict.OPEN and one.name == SPIKE)
    ]


def advice(main_defect: str, share: float, alive: Sequence[Rival]) -> str:
    """Say what to do next, in one sentence.

    Parameters
    ----------
    main_defect : str
        Recorded defect that carries most of the failure; blank when none was.
    share : float
        Share owed to the installation. [-]
    alive : sequence of Rival
        Rivals not ruled out, strongest first.

    Returns
    -------
    str
        Without a capital or a full stop.
    """
    pointed = any(one.verdict is Verdict.FOR for one in alive)
    if main_defect and share >= (_MOSTLY if pointed else _HARDLY):
        return CHECKLIST[main_defect].mend
    if share >= _MOSTLY:
        return "record every check at the next fitting here: the defect was not on record"
    if alive:
        return RIVALS[alive[0].name][1]
    return "no recorded cause stands out: keep the disc and have its fracture looked at"
