"""Simulated plants for the early-failure answers, with a truth of their own.

Not the demo's world: wear is lognormal, installation is a falling Weibull hazard, positions
renew until the log ends, discs come from lots of twelve used up one after the other.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from scipy.special import log_ndtr

from analytics.installs.checklist import DEFECTS
from analytics.survival.law import Family, LifeLaw

LOT_SIZE = 12
PREVALENCE = {
    "seat_clean": 0.15,
    "gap_even": 0.15,
    "studs_lubricated": 0.12,
    "gasket_suitable": 0.1,
}
EFFECTS = {"seat_clean": 4.0, "gap_even": 5.0, "studs_lubricated": 2.0, "gasket_suitable": 3.0}
_START = pd.Timestamp("2018-01-01")


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """What is true of a plant.

    `slips` multiplies each crew's prevalence of defects, `hard` gives the crew that works at
    the positions of the highest ratio, `bad_lot` says whether one lot lives a part of what
    it should, `shortened` by how much its lives are divided.

    Of discs fitted from year `since` on, the installation hazard is `worse` times as high, of all
    crews or of one; defects are `slipping` times as common, wear life `wearing` times as short.
    """

    positions: int = 150
    years: float = 6.0
    crews: int = 6
    effects: dict[str, float] = field(default_factory=lambda: dict(EFFECTS))
    slips: tuple[float, ...] = ()
    by_hardness: bool = False
    bad_lot: bool = False
    shortened: float = 4.0
    unrecorded: float = 0.2
    ratio_spread: float = 0.09
    base: float = 0.04
    since: float = np.inf
    worse: float = 1.0
    worse_crew: int | None = None
    slipping: float = 1.0
    wearing: float = 1.0


def null_world(**changes) -> World:
    """Defects occur and do nothing; crews and lots are alike."""
    return World(effects=dict.fromkeys(EFFECTS, 1.0), **changes)


def simulate(world: World, seed: int) -> pd.DataFrame:
    """Give the lives frame of one plant; a bad lot is called `BAD`."""
    rng = np.random.default_rng(seed)
    n = world.positions
    ratio = np.clip(rng.normal(0.78, world.ratio_spread, n), 0.45, 0.97)
    cycles = np.exp(rng.normal(np.log(300), 0.8, n))
    crew_of = rng.integers(0, world.crews, n)
    if world.by_hardness:
        crew_of = np.argsort(np.argsort(-ratio)) * world.crews // n
    start, rows, made = np.zeros(n), [], 0
    running = np.arange(n)
    while running.size:
        # one lot after the other in the order of fitting, of two disc codes
        order = running[np.argsort(start[running], kind="stable")]
        lot = (made + np.arange(order.size)) // LOT_SIZE
        made += order.size
        crew = crew_of[order] if world.by_hardness else rng.integers(0, world.crews, order.size)
        slips = np.array(world.slips or (1.0,) * world.crews)[crew]
        late = start[order] >= world.since
        slips = np.where(late, world.slipping * slips, slips)
        found = np.array(
            [rng.random(order.size) < np.minimum(p * slips, 0.9) for p in PREVALENCE.values()]
        )
        slowing = -6.0 * np.log(ratio[order] / 0.78) - 0.3 * np.log(cycles[order] / 300)
        early = np.log(world.base) + np.log(list(world.effects.values())) @ found
        theirs = late if world.worse_crew is None else late & (crew == world.worse_crew)
        early = early + np.where(theirs, np.log(world.worse), 0.0)
        slowing = slowing - np.where(late, np.log(world.wearing), 0.0)
        life = _life(rng.exponential(size=order.size), early, slowing)
        bad = world.bad_lot & (lot == n // LOT_SIZE + 4)
        life = np.where(bad, life / world.shortened, life)
        end = start[order] + life
        planned = start[order] + rng.uniform(3.0, 6.0, order.size)
        over = np.minimum(np.minimum(end, planned), world.years)
        rows.append(
            pd.DataFrame(
                {
                    "position_id": [f"P{i:03d}" for i in order],
                    "crew": [f"crew {c}" for c in crew],
                    "lot": np.where(bad, "BAD", [f"L{j:03d}" for j in lot]),
                    "start": start[order],
                    "end": over,
                    "ending": np.select(
                        [end <= over, planned <= over], ["premature", "planned"], "in_service"
                    ),
                    "operating_ratio": ratio[order],
                    "cycles_per_year": cycles[order],
                    "true_log_rate": early,
                    "true_slowing": slowing,
                    **{name: ~there for name, there in zip(PREVALENCE, found, strict=True)},
                }
            )
        )
        start[order] = over
        running = order[over < world.years]
    return _frame(pd.concat(rows, ignore_index=True), world, rng)


def cut(lives: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Give the plant as its log stood at the end of a day."""
    then = lives[lives["installed_on"] < day].reset_index(drop=True)
    later = then["ended_on"] > day
    age = (day - then["installed_on"]).dt.total_seconds() / 86_400 / 365.25
    then["age_years"] = then["age_years"].where(~later, age)
    then["lower_years"] = then["upper_years"] = then["age_years"]
    then["ending"] = then["ending"].where(~later, "in_service")
    then["ended_on"] = then["ended_on"].where(~later, day)
    return then


def true_law(lives: pd.DataFrame) -> LifeLaw:
    """Give the law the lives were drawn from, one draw; that of a bad lot as if it were good."""
    early, slowing = lives["true_log_rate"].to_numpy(), lives["true_slowing"].to_numpy()
    one = np.ones((1, 1))
    return LifeLaw(
        family=Family.LOGNORMAL,
        wear_location=(np.log(8.0) + slowing)[None, :],
        wear_sigma=0.45 * one,
        install_log_rate=early[None, :],
        install_shape=0.5 * one,
    )


def _life(needed, early, slowing):
    """Age at which e^early t^0.5 + lognormal wear reaches what is needed."""
    low, high = np.full(needed.size, -25.0), np.full(needed.size, 8.0)
    for _ in range(50):
        middle = (low + high) / 2
        wear = -log_ndtr(-(middle - np.log(8.0) - slowing) / 0.45)
        short = np.exp(early + 0.5 * middle) + wear < needed
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.exp(low)


def _frame(rows: pd.DataFrame, world: World, rng: np.random.Generator) -> pd.DataFrame:
    n = len(rows)
    for name in DEFECTS:
        known = (rng.random(n) >= world.unrecorded) & (name in PREVALENCE)
        passed = rows[name].to_numpy() if name in PREVALENCE else np.ones(n, dtype=bool)
        rows[name] = pd.arrays.BooleanArray(passed, ~known)
    age = rows["end"] - rows["start"]
    return rows.assign(
        life_id=[f"I{i:05d}" for i in range(n)],
        site="one",
        unit=rows["position_id"],
        service="gas",
        disc_code="D1",
        family="forward",
        installed_on=_START + pd.to_timedelta(rows["start"] * 365.25, unit="D"),
        observed_from=_START + pd.to_timedelta(rows["start"] * 365.25, unit="D"),
        ended_on=_START + pd.to_timedelta(rows["end"] * 365.25, unit="D"),
        reason=np.where(rows["ending"] == "premature", "burst", "planned"),
        age_years=age,
        entry_years=0.0,
        lower_years=age,
        upper_years=age,
        age_known=True,
        cost=1000.0,
        peak_pressure_barg=np.nan,
    )
