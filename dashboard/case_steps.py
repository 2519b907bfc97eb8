"""What each likely cause of an early failure asks for, and of whom."""

from collections.abc import Callable, Mapping

import pandas as pd

from analytics.early.rivals import CYCLES, LOT, RATIO, SPIKE, WARMTH, WRONG
from analytics.installs.checklist import CHECKLIST, DEFECTS
from dashboard.case_causes import FITTING, WEAR, is_sure
from dashboard.case_scene import ENGINEER, PURCHASING, Scene, Step
from dashboard.figures.pressures import operating_pressures
from dashboard.words import and_so_on, count, day, listed, number

__all__ = ["STEPS"]

_MOST_MENDS = 2
_OF_HOLDER = ("holder_flat", "seat_undamaged")


def _fitting(scene: Scene) -> list[Step]:
    """First the disc now there, then the crews' next fitting, then the others fitted alike."""
    check = CHECKLIST.get(str(scene.case["main_defect"]))
    if check is None:
        blank = sum(bool(pd.isna(scene.life[name])) for name in DEFECTS if name in scene.life)
        asked = (
            f"Have all {len(DEFECTS)} checks answered at the next fitting at {scene.place}:"
            f" {count(blank, 'was', 'were')} left blank at this one."
        )
        return [Step(who=scene.crews, what=asked)]
    amiss = [name for name in DEFECTS if name != check.name and _failed(scene.life, name)]
    mends = "; ".join([check.mend, *(CHECKLIST[name].mend for name in amiss[:_MOST_MENDS])])
    return [
        *_fitted_since(scene, check.name),
        *_same_holder(scene),
        Step(
            who=scene.crews,
            what=f"Before the next fitting, ask the crews what gets in the way of “{check.sound}”:"
            f" time, tools, light, parts or access. At the fitting: {mends}.",
        ),
        *(_fitted_alike(scene, check.name) if _is_clear(scene) else []),
    ]


def _is_clear(scene: Scene) -> bool:
    """Say whether the fitting stands first and its limits exclude none: enough to ask of others."""
    return scene.causes[0].name == FITTING and is_sure(scene.case)


def _same_holder(scene: Scene) -> list[Step]:
    """A holder outlives its discs: what was amiss with it may be under the disc now there."""
    amiss = [CHECKLIST[name].defect for name in _OF_HOLDER if _failed(scene.life, name)]
    if not amiss:
        return []
    asked = (
        f"Find out whether the holder at {scene.place}, found with"
        f" {listed([f'“{defect}”' for defect in amiss])} on {day(scene.life['installed_on'])}, was"
        " reworked or swapped since; until then fit no disc in it."
    )
    return [Step(who=scene.crews, what=asked)]


def _failed(life: pd.Series, check: str) -> bool:
    return check in life and bool(pd.notna(life[check])) and not life[check]


def _fitted_since(scene: Scene, check: str) -> list[Step]:
    if scene.now is None or (pd.notna(scene.now[check]) and scene.now[check]):
        return []
    fitted = f"the disc now at {scene.place} ({day(scene.now['installed_on'])})"
    if pd.isna(scene.now[check]):
        asked = (
            f"Ask those who fitted {fitted} whether"
            f" “{CHECKLIST[check].sound}” held: nobody recorded it."
        )
        return [Step(who=scene.crews, what=asked)]
    asked = f"{fitted[0].upper()}{fitted[1:]} has the same defect on its record: decide whether to"
    return [Step(who=ENGINEER, what=f"{asked} change it early.", first=True)]


def _fitted_alike(scene: Scene, check: str) -> list[Step]:
    """The others in service with this defect, the youngest first: its hazard falls with age."""
    lives = scene.findings.lives
    alike = lives[lives["ending"].eq("in_service") & lives[check].eq(False).fillna(False)]
    alike = alike[alike["position_id"].ne(scene.place)].sort_values("installed_on", ascending=False)
    if alike.empty:
        return []
    here = alike.loc[alike["site"].eq(scene.life["site"]), "position_id"].astype(str)
    at_site = f", {len(here):,} at {scene.life['site']} ({and_so_on(here)})" if len(here) else ""
    are, which = ("is", "it before its") if len(alike) == 1 else ("are", "any before their")
    asked = (
        f"{count(len(alike), 'other disc')} in service {are} on record with “"
        f"{CHECKLIST[check].defect}”{at_site}: decide whether to change {which} date."
    )
    return [Step(who=ENGINEER, what=asked)]


def _lot(scene: Scene) -> list[Step]:
    lot = str(scene.case["lot"])
    places = scene.findings.lot_places
    own = places[places["lot"].eq(lot)] if len(places) else places
    shelf, fitted = own[own["position_id"].eq("")], own[own["position_id"].ne("")]
    steps = [
        Step(
            who=f"Storeroom, {store}",
            what=f"Take {count(int(held['pieces'].sum()), 'piece')} of lot {lot}"
            f" ({listed(sorted(held['disc_code'].astype(str).unique()))}) out of the bin, tag HOLD,"
            " issue none; look in vans and crew boxes too.",
            first=True,
        )
        for store, held in shelf.groupby("store")
    ]
    if len(fitted):
        where = and_so_on(fitted["position_id"].astype(str), most=6)
        asked = f"Decide whether to change the discs of lot {lot} in service early: {where}."
        steps.append(Step(who=ENGINEER, what=asked))
    asked = f"Ask the maker for the certificate and burst tests of lot {lot}."
    return [*steps, Step(who=PURCHASING, what=asked)]


def _ratio(scene: Scene) -> list[Step]:
    if scene.blames(WRONG):
        return []
    duty = scene.findings.duty
    limit = duty.loc[duty["position_id"].eq(scene.place), "limit"]
    ran = operating_pressures(scene.life.to_frame().T).iloc[0]
    said = ""
    if len(limit) and pd.notna(limit.iloc[0]) and pd.notna(ran["operating_pressure_barg"]):
        back = scene.life["back_pressure_barg"]
        allowed = float(limit.iloc[0]) * float(scene.life["minimum_burst_bar"])
        allowed += 0.0 if pd.isna(back) else float(back)
        how = "by its nominal pressure"
        if scene.life["pressure_basis"] == "history":
            how = "and below for 95 % of its time"
        said = (
            f" This disc ran at {ran['operating_pressure_barg']:.3g} barg {how}; its limit,"
            f" {limit.iloc[0]:.2f} of its least burst pressure, was {allowed:.3g} barg."
        )
    asked = (
        f"Read the highest pressure of the last month at {scene.place}.{said} Say whether it can"
        " run below the limit."
    )
    engineer = (
        f"If operations cannot stay below the limit, decide which disc {scene.place} needs, within"
        " what the vessel allows."
    )
    return [
        *_ratio_now(scene, limit),
        Step(who=scene.operations, what=asked),
        Step(who=ENGINEER, what=engineer),
    ]


def _ratio_now(scene: Scene, limit: pd.Series) -> list[Step]:
    """A disc in service above its limit waits for nobody's Monday."""
    if scene.now is None or limit.empty:
        return []
    ratio = scene.now["operating_ratio"]
    if pd.isna(ratio) or pd.isna(limit.iloc[0]) or ratio <= limit.iloc[0]:
        return []
    asked = (
        f"The disc now at {scene.place} runs at a ratio of {ratio:.2f}, above the limit of"
        f" {limit.iloc[0]:.2f}: decide whether it may run on until it is changed."
    )
    return [Step(who=ENGINEER, what=asked, first=True)]


def _wrong(scene: Scene) -> list[Step]:
    duty = scene.findings.duty
    asked_for = duty.loc[duty["position_id"].eq(scene.place), "disc_code"]
    code = str(asked_for.iloc[0]) if len(asked_for) else ""
    steps = []
    if code and scene.now is not None and scene.now["disc_code"] != code:
        today = (
            f"By the log the disc now at {scene.place} is {scene.now['disc_code']}, where"
            f" the position asks for {code}. Have its tag read and decide."
        )
        steps.append(Step(who=ENGINEER, what=today, first=True))
    steps.append(
        Step(
            who=scene.crews,
            what=f"Read the tag of the disc now at {scene.place} against the data sheet, the holder"
            " closed: type, lot, marked pressure, temperature.",
        )
    )
    if code and scene.life["disc_code"] != code:
        trace = (
            f"Find out how {scene.life['disc_code']} came to be issued for {scene.place}, which"
            f" asks for {code}."
        )
        steps.append(Step(who="Storeroom", what=trace))
    return steps


def _cycles(scene: Scene) -> list[Step]:
    trend = (
        f"Trend the pressure at {scene.place} over one hour, second by second; look for the control"
        f" loop or pump that makes {number(scene.life['cycles_per_year'])} cycles a year."
    )
    return [
        Step(who=scene.operations, what=trend),
        Step(
            who=PURCHASING, what=f"Ask the maker for the fatigue life of {scene.life['disc_code']}."
        ),
    ]


def _warmth(scene: Scene) -> list[Step]:
    return [
        Step(
            who=f"Instruments, {scene.life['site']}",
            what=f"Measure the temperature at the disc at {scene.place}.",
        ),
        Step(
            who=PURCHASING,
            what=f"Ask the maker for the burst pressure of {scene.life['disc_code']} at that"
            " temperature.",
        ),
    ]


def _by_records(scene: Scene) -> list[Step]:
    """What the record of a spike, or of wear alone, asks for stands in the other steps."""
    return []


STEPS: Mapping[str, Callable[[Scene], list[Step]]] = {
    FITTING: _fitting,
    LOT: _lot,
    RATIO: _ratio,
    WRONG: _wrong,
    CYCLES: _cycles,
    WARMTH: _warmth,
    SPIKE: _by_records,
    WEAR: _by_records,
}
"""The steps that follow from each cause, in the order to take them."""
