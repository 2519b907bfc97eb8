"""Simulated fleets whose true share of installation-caused failures is known.

A world gives each disc its life and the share that its failure truly owes to its defects,
(h(t; defects) - h(t; none)) / h(t; defects) with the hazards of that world. All worlds share one
plant: eight checks, operating ratio and cycling, discs already in service when the log begins
(one in five), leaks found only at quarterly rounds (one failure in five), planned removal.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr
from scipy.stats import beta

from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard import TwoHazardData, fill_unrecorded, two_hazard_data

CHECKS = ("seat_clean", "gap_even", "torque", "studs", "gasket", "flow", "final_pass", "holder")
PREVALENCE = np.array([0.15, 0.12, 0.12, 0.10, 0.06, 0.04, 0.08, 0.05])
EFFECTS = np.log([4.0, 5.0, 4.0, 2.0, 3.0, 6.0, 1.5, 1.0])
RATIO_EXPONENT, CYCLE_EXPONENT = -6.0, -0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Fleet:
    """What the plant recorded, and what only the simulator knows."""

    data: TwoHazardData
    true_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Discs:
    """True defects (n, 8) of each disc, and its centred ln ratio and ln cycles (n, 2)."""

    defects: np.ndarray
    duty: np.ndarray

    @property
    def slowing(self) -> np.ndarray:
        """Duty's part of log life."""
        return self.duty @ [RATIO_EXPONENT, CYCLE_EXPONENT]


Cumulative = Callable[[np.ndarray, np.ndarray, Discs], np.ndarray]


def solve_age(cumulative: Cumulative, discs: Discs, needed: np.ndarray) -> np.ndarray:
    """Age at which the cumulative hazard reaches what is needed, by halving on log age."""
    low, high = np.full(needed.size, -30.0), np.full(needed.size, 9.0)
    for _ in range(60):
        middle = (low + high) / 2
        short = cumulative(np.exp(middle), discs.defects, discs) < needed
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.exp(low)


def two_hazards(age, defects, discs):
    """The model's own truth."""
    wear = (age / np.exp(np.log(9.0) + discs.slowing)) ** 3.0
    return np.exp(np.log(0.03) + defects @ EFFECTS) * age**0.5 + wear


def no_effect(age, defects, discs):
    """The null: defects do nothing, an installation hazard is there all the same."""
    return two_hazards(age, 0 * defects, discs)


def lognormal_wear(age, defects, discs):
    """Wear is lognormal, the installation hazard as assumed."""
    wear = -log_ndtr(-(np.log(age) - np.log(8.0) - discs.slowing) / 0.45)
    return np.exp(np.log(0.03) + defects @ EFFECTS) * age**0.5 + wear


def accelerated(age, defects, discs):
    """A defect divides life: every age counts for more, no hazard of its own."""
    scale = np.exp(np.log(9.0) + discs.slowing - defects @ EFFECTS / 3.5)
    return 0.03 * age**0.5 + (age / scale) ** 2.5


def fatigue(age, defects, discs):
    """Miner's rule: damage grows with cycles and a power of the ratio, strength is lognormal.

    A badly fitted disc starts with damage: each defect bites with chance 0.35, and a bitten disc
    keeps a fraction of its life drawn from Beta(0.6, 2).
    """
    strength = np.log(9.0) - 8.0 * discs.duty[:, 0] - 0.5 * discs.duty[:, 1]
    lasting = lambda log_age: ndtr(-(log_age - strength) / 0.4)  # noqa: E731
    bitten = 1 - 0.65 ** defects.sum(axis=1)
    kept = np.log(beta.ppf((np.arange(40) + 0.5) / 40, 0.6, 2.0))
    weak = np.mean([lasting(np.log(age) - fraction) for fraction in kept], axis=0)
    return 0.02 * age**0.5 - np.log((1 - bitten) * lasting(np.log(age)) + bitten * weak + 1e-300)


def hazard_by_difference(cumulative, age, defects, discs):
    """Slope of the cumulative hazard by age, central difference."""
    step = 1e-5 * age
    up, down = cumulative(age + step, defects, discs), cumulative(age - step, defects, discs)
    return (up - down) / (2 * step)


def fleet(cumulative: Cumulative, n: int, seed: int, *, unrecorded: float = 0.0) -> Fleet:
    """Simulate a fleet of `n` observed lives in the world of this cumulative hazard.

    `unrecorded` is the part of lives without any install record; of the others' checks a
    quarter of that part is blank as well.
    """
    rng = np.random.default_rng(seed)
    drawn = int(1.6 * n) + 50
    discs = Discs(
        defects=(rng.random((drawn, 8)) < PREVALENCE).astype(float),
        duty=np.column_stack([rng.normal(0, 0.12, drawn), rng.normal(0, 0.7, drawn)]),
    )
    life = solve_age(cumulative, discs, rng.exponential(size=drawn))
    entry = np.where(rng.random(drawn) < 0.2, rng.uniform(0, 2, drawn), 0.0)
    stop = np.maximum(rng.uniform(0.5, 5.0, drawn), entry + 0.1)
    kept = np.flatnonzero(life > entry)[:n]
    discs = discs_of(discs, kept)
    life, entry, stop = life[kept], entry[kept], stop[kept]
    failed = life <= stop
    lower, upper = np.where(failed, life, stop), np.where(failed, life, np.inf)
    leak = failed & (rng.random(n) < 0.2)
    rounds = np.floor(4 * life) / 4
    lower = np.where(leak, np.maximum(entry, rounds), lower)
    upper = np.where(leak, rounds + 0.25, upper)

    found = discs.defects.copy()
    found[rng.random(n) < unrecorded] = np.nan
    found[rng.random((n, 8)) < unrecorded / 4] = np.nan
    data = two_hazard_data(
        lifetimes(lower, upper, entry=entry),
        defects=fill_unrecorded(found),
        defect_names=CHECKS,
        wear_design=discs.duty,
        wear_names=("log_ratio", "log_cycles"),
    )
    return Fleet(data=data, true_share=share_of(cumulative, life[failed], discs_of(discs, failed)))


def share_of(cumulative: Cumulative, age: np.ndarray, discs: Discs) -> float:
    """Mean share that failures at these ages owe to their defects, hazards by differences."""
    step = 1e-5 * age
    slopes = [
        cumulative(age + step, defects, discs) - cumulative(age - step, defects, discs)
        for defects in (discs.defects, 0 * discs.defects)
    ]
    return float(np.mean(1 - slopes[1] / slopes[0]))


def discs_of(discs: Discs, rows: np.ndarray) -> Discs:
    """Keep some of the discs."""
    return Discs(defects=discs.defects[rows], duty=discs.duty[rows])
