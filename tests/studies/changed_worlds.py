"""Simulated plants that can be run again with something changed and the luck kept.

Every disc a position can ever come to hold has its own luck, drawn beforehand: how much hazard
it lasts, when it is due, which defects its fitting escapes. A changed plant is the same plant
with another prevalence of defects or another ratio; discs that the change spares stay on, and
whatever then fails later is seen to fail. Positions renew until the log ends. Wear is Weibull,
as the model has it, or lognormal, as it has not.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

from analytics.installs.checklist import DEFECTS

CHECKS = ("seat_clean", "gap_even", "studs_lubricated", "gasket_suitable")
PREVALENCE = np.array([0.15, 0.15, 0.12, 0.1])
EFFECTS = np.log([4.0, 5.0, 2.0, 3.0])
SLIPS = np.array([0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8])
BASE, SHAPE, RATIO_EXPONENT, CYCLE_EXPONENT = 0.04, 0.5, -6.0, -0.3
YEARS, SLOTS = 6.0, 40
START = pd.Timestamp("2018-01-01")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """One plant: what it is, and the luck of every disc it may come to hold.

    `slips` and `ratio` are what changes change: (crews, checks) prevalence and (positions,).
    """

    lognormal: bool
    prevalence: np.ndarray
    ratio: np.ndarray
    cycles: np.ndarray
    crew: np.ndarray
    lasts: np.ndarray
    due: np.ndarray
    escape: np.ndarray

    @property
    def slowing(self) -> np.ndarray:
        """Duty's part of log life, by position."""
        ratio = RATIO_EXPONENT * np.log(self.ratio / 0.78)
        return ratio + CYCLE_EXPONENT * np.log(self.cycles / 300)


def plant(
    positions: int, seed: int, *, lognormal: bool = False, crews_drawn: bool = False
) -> Plant:
    """Draw a plant and its luck; its crews evenly apart, or drawn anew and unlike by check too."""
    rng = np.random.default_rng(seed)
    shape = (positions, SLOTS)
    slips = _drawn_slips(np.random.default_rng([seed, 1])) if crews_drawn else SLIPS[:, None]
    return Plant(
        lognormal=lognormal,
        prevalence=np.minimum(slips * PREVALENCE, 0.9),
        ratio=np.clip(rng.normal(0.78, 0.09, positions), 0.45, 0.97),
        cycles=np.exp(rng.normal(np.log(300), 0.8, positions)),
        crew=rng.integers(0, len(SLIPS), shape),
        lasts=rng.exponential(size=shape),
        due=rng.uniform(3.0, 6.0, shape),
        escape=rng.random((*shape, len(CHECKS))),
    )


def _drawn_slips(rng: np.random.Generator) -> np.ndarray:
    """How often each crew slips, by check: lognormal, 45 % between crews, 20 % between checks."""
    crews = rng.normal(0.0, 0.45, (len(SLIPS), 1))
    return np.exp(crews + rng.normal(0.0, 0.2, (len(SLIPS), len(CHECKS))))


def cumulative(plant: Plant, age, early, slowing):
    """Cumulative hazard of a premature failure."""
    log_age = np.log(age)
    wear = (
        -log_ndtr(-(log_age - np.log(8.0) - slowing) / 0.45)
        if plant.lognormal
        else np.exp(3.0 * (log_age - np.log(9.0) - slowing))
    )
    return np.exp(early + SHAPE * log_age) + wear


def hazard(plant: Plant, age, early, slowing):
    """Its slope, by central difference."""
    step = 1e-5 * age
    up, down = (cumulative(plant, age + sign * step, early, slowing) for sign in (1, -1))
    return (up - down) / (2 * step)


def life(plant: Plant, needed, early, slowing):
    """Age at which the cumulative hazard reaches what is needed."""
    low, high = np.full(needed.shape, -30.0), np.full(needed.shape, 8.0)
    for _ in range(32):
        middle = (low + high) / 2
        short = cumulative(plant, np.exp(middle), early, slowing) < needed
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.exp(low)


def run(plant: Plant) -> pd.DataFrame:
    """Let the plant run: one row per disc, in the order of position and slot."""
    n = len(plant.ratio)
    start, running, rows = np.zeros(n), np.arange(n), []
    for slot in range(SLOTS):
        crew = plant.crew[running, slot]
        found = plant.escape[running, slot] < plant.prevalence[crew]
        early = np.log(BASE) + found @ EFFECTS
        failing = start[running] + life(
            plant, plant.lasts[running, slot], early, plant.slowing[running]
        )
        due = start[running] + plant.due[running, slot]
        over = np.minimum(np.minimum(failing, due), YEARS)
        rows.append(
            pd.DataFrame(
                {
                    "position": running,
                    "slot": slot,
                    "crew_number": crew,
                    "start": start[running],
                    "end": over,
                    "ending": np.select(
                        [failing <= over, due <= over], ["premature", "planned"], "in_service"
                    ),
                    **{name: found[:, k] for k, name in enumerate(CHECKS)},
                }
            )
        )
        start[running] = over
        running = running[over < YEARS]
        if not running.size:
            return pd.concat(rows, ignore_index=True)
    raise AssertionError("a position used up all the discs drawn for it")


def recorded(plant: Plant, ran: pd.DataFrame, seed: int, *, unrecorded: float = 0.0):
    """Give the lives frame that the plant's log makes of it."""
    rng = np.random.default_rng(seed)
    age = ran["end"] - ran["start"]
    begun, over = (
        START + pd.to_timedelta(ran[name] * 365.25, unit="D") for name in ("start", "end")
    )
    checks = {
        name: pd.arrays.BooleanArray(
            ~ran[name].to_numpy() if name in CHECKS else np.ones(len(ran), dtype=bool),
            (rng.random(len(ran)) < unrecorded) | (name not in CHECKS),
        )
        for name in DEFECTS
    }
    return pd.DataFrame(
        {
            "life_id": [f"I{i:05d}" for i in range(len(ran))],
            "position_id": [f"P{i:04d}" for i in ran["position"]],
            "site": "one",
            "unit": [f"P{i:04d}" for i in ran["position"]],
            "service": "gas",
            "disc_code": "D1",
            "family": "forward",
            "crew": [f"crew {c}" for c in ran["crew_number"]],
            "lot": None,
            "installed_on": begun,
            "observed_from": begun,
            "ended_on": over,
            "ending": ran["ending"],
            "reason": np.where(ran["ending"] == "premature", "burst", "planned"),
            "operating_ratio": plant.ratio[ran["position"]],
            "cycles_per_year": plant.cycles[ran["position"]],
            "age_years": age,
            "entry_years": 0.0,
            "lower_years": age,
            "upper_years": age,
            "age_known": True,
            "cost": 1000.0,
            "peak_pressure_barg": np.nan,
            **checks,
        }
    )


def mended(plant: Plant, *checks: str) -> Plant:
    """The plant without these defects."""
    kept = np.array([name not in checks for name in CHECKS])
    return replace(plant, prevalence=plant.prevalence * kept)


def best_practice(plant: Plant) -> Plant:
    """The plant with no crew worse than the mean of the best quarter, check by check."""
    quarter = np.sort(plant.prevalence, axis=0)[: -(-len(SLIPS) // 4)].mean(axis=0)
    return replace(plant, prevalence=np.minimum(plant.prevalence, quarter))


def lowered(plant: Plant, positions: np.ndarray, ratio: float) -> Plant:
    """The plant with the ratio of some positions lowered."""
    to = plant.ratio.copy()
    to[positions] = np.minimum(to[positions], ratio)
    return replace(plant, ratio=to)


def failures(ran: pd.DataFrame) -> int:
    """Premature failures of a run."""
    return int((ran["ending"] == "premature").sum())


def avoided_given_the_log(
    plant: Plant, changed: Plant, ran: pd.DataFrame, seed: int, futures: int
) -> float:
    """Failures the change avoids, expected given the failures that were logged.

    Each logged failure would not have happened then with the chance the two true hazards give.
    If so its disc stays on in the changed plant, and what it and the discs after it, against a
    new disc and those after it, go on to suffer is simulated. The futures are shared out among
    the failures the change bears on: few failures need as many in all as many do.
    """
    rng = np.random.default_rng(seed)
    failed = ran[ran["ending"] == "premature"]
    stays = changed.prevalence / plant.prevalence
    found = failed[list(CHECKS)].to_numpy(dtype=bool)
    lost = (found & (stays[failed["crew_number"]] < 1)).any(axis=1)
    slower = (plant.ratio != changed.ratio)[failed["position"]]
    failed = failed[lost | slower]
    if failed.empty:
        return 0.0
    futures = -(-futures // len(failed))
    failed = failed.iloc[np.repeat(np.arange(len(failed)), futures)]
    at, end = failed["position"].to_numpy(), failed["end"].to_numpy()
    found, age = failed[list(CHECKS)].to_numpy(dtype=float), end - failed["start"].to_numpy()
    now = hazard(plant, age, np.log(BASE) + found @ EFFECTS, plant.slowing[at])
    kept = found * (rng.random(found.shape) < stays[failed["crew_number"]])
    early = np.log(BASE) + kept @ EFFECTS
    spared = 1 - hazard(changed, age, early, changed.slowing[at]) / now
    old = _later(changed, at, rng, end, early, age)
    new = _later(changed, at, rng, end, None, None)
    return float((spared * (1 + new - old)).sum()) / futures


def _later(plant: Plant, at, rng, now, early, age):
    """Failures from now to the end of the log, of a disc of this age or of a new one."""
    count, start, running = np.zeros(len(at)), now.copy(), np.arange(len(at))
    for slot in range(SLOTS):
        where = plant.slowing[at[running]]
        if slot == 0 and age is not None:
            gone = cumulative(plant, age, early, where)
            failing = life(plant, rng.exponential(size=len(at)) + gone, early, where) - age
            due = np.maximum(age, 3.0)
            due = due + rng.random(len(at)) * (6.0 - due) - age
        else:
            crew = rng.integers(0, len(SLIPS), running.size)
            slips = rng.random((running.size, len(CHECKS))) < plant.prevalence[crew]
            needed = rng.exponential(size=running.size)
            failing = life(plant, needed, np.log(BASE) + slips @ EFFECTS, where)
            due = rng.uniform(3.0, 6.0, running.size)
        start[running] += np.minimum(failing, due)
        count[running] += (failing < due) & (start[running] < YEARS)
        running = running[start[running] < YEARS]
        if not running.size:
            return count
    raise AssertionError("a position used up all its discs")
