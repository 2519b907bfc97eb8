"""Fleets whose operating ratio steps mid-life, drawn from the law of cumulative exposure."""

from dataclasses import replace

import numpy as np

from analytics.survival.changing_duty import ChangingDuty, used_life
from analytics.survival.lifetimes import lifetimes
from analytics.survival.two_hazard_data import TwoHazardData, two_hazard_data

__all__ = ["EXPONENT", "SHAPE", "averaged", "stepped_fleet"]

EXPONENT, SHAPE = 6.0, 3.0


def stepped_fleet(
    n: int, seed: int, *, rise: float = 1.3, early_rate: float = 0.05, late_entry: bool = False
) -> TwoHazardData:
    """Wear life ~ ratio^-6 with shape 3; most ratios step up at some age; defects fail early."""
    random = np.random.default_rng(seed)
    ratio = random.uniform(0.5, 0.75, n)
    stepped = random.random(n) < 0.7
    step = random.uniform(0.5, 5.0, n)
    defect = (random.random(n) < 0.3).astype(float)
    before = np.log(ratio / 0.65)
    after = before + np.where(stepped, np.log(rise), 0.0)

    exposure = 7.0 * random.weibull(SHAPE, n)
    until = step * np.exp(EXPONENT * before)
    worn = np.where(
        exposure < until,
        exposure * np.exp(-EXPONENT * before),
        step + (exposure - until) * np.exp(-EXPONENT * after),
    )
    broken = (random.exponential(size=n) / (early_rate * np.exp(1.2 * defect))) ** (1 / 0.7)
    life, end = np.minimum(worn, broken), random.uniform(2.0, 12.0, n)
    ended = life < end
    found = ended & (random.random(n) < 0.3)  # known to half a year only
    entry = np.where(late_entry & (random.random(n) < 0.5), random.uniform(0, 3, n), 0.0)
    floor = np.floor(2 * life) / 2
    low = np.where(found, np.maximum(floor, entry), np.minimum(life, end))
    high = np.where(ended, np.where(found, floor + 0.5, life), np.inf)
    seen = np.minimum(life, end) > entry
    lives = lifetimes(low[seen], high[seen], entry=entry[seen])
    row = np.flatnonzero(stepped[seen])
    design = np.stack([before[seen][row], after[seen][row]], axis=1)[:, :, None]
    stop = np.column_stack([step[seen][row], np.full(len(row), np.inf)])
    changing = ChangingDuty(row=row, stop=stop, design=design, at_end=design[:, -1])
    return replace(
        two_hazard_data(
            lives,
            defects=defect[seen, None],
            defect_names=["seat"],
            wear_design=before[seen, None],
            wear_names=["ln ratio"],
        ),
        changing=changing,
    )


def averaged(data: TwoHazardData) -> TwoHazardData:
    """The same fleet told by the average over each life's own time."""
    assert data.changing is not None
    lives = data.lifetimes
    age = np.where(lives.ended, lives.upper, lives.lower)[data.changing.row]
    wear = data.wear_design.copy()
    wear[data.changing.row] = used_life(data.changing, age, [0.0]).mean
    return replace(data, wear_design=wear, changing=None)
