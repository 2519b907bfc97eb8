"""Fleets of disc lives with a known law, for the study of limits."""

from dataclasses import dataclass

import numpy as np

from analytics.survival.lifetimes import Lifetimes, lifetimes

SHAPE, EXPONENT, TENTH = 2.0, -4.0, 0.1
SCALE_YEARS = 10.0  # at operating ratio 0.7
REFERENCE = [0.0]  # ln(ratio / 0.7)
NAMES = ("log_ratio",)
LATE, LOOKED_AT, LOOK_EVERY_YEARS = 0.25, 0.3, 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One cell of the study: how many lives, and how many of them still run at the end."""

    lives: int
    censored: float

    @property
    def expected_failures(self) -> float:
        return self.lives * (1 - self.censored)


CELLS = [
    Cell(lives=lives, censored=censored)
    for lives in (40, 200, 2000)
    for censored in (0.2, 0.6, 0.9)
]


def truth() -> dict[str, float]:
    return {
        "shape": SHAPE,
        "b10": SCALE_YEARS * (-np.log(1 - TENTH)) ** (1 / SHAPE),
        "exponent": EXPONENT,
    }


def watched_years(censored: float) -> float:
    """Mean years watched that leave this fraction running; found once, from many lives."""
    low, high = 0.01, 200.0
    for _ in range(40):
        middle = np.sqrt(low * high)
        random = np.random.default_rng(12345)
        data, _ = fleet(40_000, middle, random)
        low, high = (middle, high) if 1 - data.failures / data.lives > censored else (low, middle)
    return float(np.sqrt(low * high))


def fleet(lives: int, years: float, random: np.random.Generator) -> tuple[Lifetimes, np.ndarray]:
    """Draw a fleet: a quarter seen only from an age on, three tenths of failures found later.

    A life seen late is drawn given that it reached its entry age, so nothing is thrown away.
    """
    x = np.log(random.uniform(0.5, 0.9, lives) / 0.7)
    scale = SCALE_YEARS * np.exp(EXPONENT * x)
    entry = np.where(random.random(lives) < LATE, random.uniform(0, 5, lives), 0.0)
    used = (entry / scale) ** SHAPE + random.exponential(size=lives)
    life = scale * used ** (1 / SHAPE)
    end = entry + years * random.uniform(0.5, 1.5, lives)
    failed = life <= end
    lower = np.where(failed, life, end)
    upper = np.where(failed, life, np.inf)
    looked = failed & (random.random(lives) < LOOKED_AT)
    before = np.floor((lower - entry) / LOOK_EVERY_YEARS) * LOOK_EVERY_YEARS + entry
    lower = np.where(looked, before, lower)
    upper = np.where(looked, before + LOOK_EVERY_YEARS, upper)
    return lifetimes(lower, upper, entry=entry), x[:, None]
