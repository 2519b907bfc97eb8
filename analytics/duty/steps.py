"""Did the duty of a disc change during its life, by more than quarters differ anyway?"""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm, t

from analytics.duty.observed import ENOUGH_COVERAGE

__all__ = ["FEWEST_CYCLES", "duty_steps"]

Floats = NDArray[np.float64]

RATIO_STEP = float(np.log(1.05))
"""An operating ratio that changes by less is one duty: with life as ratio^-6 a third of it."""

CYCLES_STEP = float(np.log(1.5))
"""Cycles per year that change by less are one duty."""

FEWEST_CYCLES = 0.1
"""Cycles a year of a stretch that shows none: one in ten years. [1/years]"""

FEWEST_QUARTERS = 2
"""A step is believed when at least so many quarters on either side show it."""

CHANCE = 1e-4
"""Chance that the scatter between quarters alone would show a step as wide."""

MOST_STEPS = 3
"""Steps followed within one life; the widest first."""


def duty_steps(quarters: pd.DataFrame) -> pd.DataFrame:
    """Find the lives whose duty changed materially and give their duty stretch by stretch.

    Parameters
    ----------
    quarters : DataFrame
        As `duty_by_quarter` gives: `install_id from_years to_years operating_ratio
        pressure_basis cycles_per_year coverage`, in the order of life and age.

    Returns
    -------
    DataFrame
        `install_id from_years to_years operating_ratio cycles_per_year`, two rows or more
        per life that changed, end to end from age 0; lives at one duty are left out.

    Notes
    -----
    Only quarters that the historian saw are judged, of lives it saw for half their time or
    more; a quarter not seen belongs to the stretch of the nearest one before it. A life is
    cut in two where the means of ln ratio (or of ln cycles per year) on the two sides lie
    furthest apart, and each part again, as long as the difference is material and clear of
    the scatter between quarters. The ratio of a stretch is the geometric mean of its
    quarters', its cycles the mean, both weighted by the time seen.
    """
    seen = quarters[quarters["pressure_basis"].eq("history") & quarters["operating_ratio"].gt(0)]
    seen = seen.assign(
        ratio=np.log(seen["operating_ratio"]),
        cycles=np.log(seen["cycles_per_year"].fillna(0.0).clip(lower=FEWEST_CYCLES)),
        weight=(weight := seen["coverage"] * (seen["to_years"] - seen["from_years"])),
        counted=weight * seen["cycles_per_year"].fillna(0.0),
    )
    scatter = [_scatter(seen, name) for name in ("ratio", "cycles")]
    span = quarters.groupby("install_id", sort=False)["to_years"].max()
    found = [
        _stretches(life, cuts, span[name])
        for name, life in _may_have_changed(seen, span)
        if (cuts := _cuts(life, scatter))
    ]
    columns = ["install_id", "from_years", "to_years", "operating_ratio", "cycles_per_year"]
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=columns)


def _may_have_changed(seen: pd.DataFrame, span: pd.Series) -> Iterator[tuple[str, pd.DataFrame]]:
    """Give the lives that spread far enough to hold a step, their first years known well."""
    lives = seen.groupby("install_id", sort=False)
    spread = lives[["ratio", "cycles"]].agg(np.ptp)
    wide = spread["ratio"].ge(RATIO_STEP) | spread["cycles"].ge(CYCLES_STEP)
    enough = lives["weight"].sum() >= ENOUGH_COVERAGE * span.reindex(spread.index)
    long = lives.size() >= 2 * FEWEST_QUARTERS
    for name in spread.index[wide & enough & long]:
        yield str(name), lives.get_group(name)


def _scatter(seen: pd.DataFrame, name: str) -> float:
    """Standard deviation of one quarter, from the differences of neighbours over the fleet."""
    steps = seen.groupby("install_id", sort=False)[name].diff().dropna().abs()
    return float(steps.median() / (0.6745 * np.sqrt(2.0))) if len(steps) else 0.0


def _cuts(life: pd.DataFrame, scatter: list[float]) -> list[int]:
    """Row numbers at which a new duty begins."""
    weight, counted = life["weight"].to_numpy(), life["counted"].to_numpy()
    sure = np.full(len(life), 1e12)  # a ratio is no count: chance has no part in its size
    by_ratio = _split(life["ratio"].to_numpy(), weight, sure, RATIO_STEP, scatter[0])
    by_cycles = _split(life["cycles"].to_numpy(), weight, counted, CYCLES_STEP, scatter[1])
    return sorted({*by_ratio, *by_cycles})


def _split(
    values: Floats, weight: Floats, counted: Floats, least: float, scatter: float
) -> list[int]:
    """Cut where a step is clearest, then either side, the clearest first."""
    found: list[int] = []
    while len(found) < MOST_STEPS:
        edges = [0, *sorted(found), len(values)]
        parts = [slice(low, high) for low, high in zip(edges[:-1], edges[1:], strict=True)]
        steps = [_clearest(values[p], weight[p], counted[p], least, scatter) for p in parts]
        clearest = max(range(len(steps)), key=lambda part: steps[part][0])
        if steps[clearest][0] < 1.0:
            break
        found.append(edges[clearest] + steps[clearest][1])
    return found


def _clearest(
    values: Floats, weight: Floats, counted: Floats, least: float, scatter: float
) -> tuple[float, int]:
    """Give the width of the clearest material step over what chance allows, and its place.

    Chance allows for the scatter within the two sides (Student's, for they may be few), for
    that of the fleet's quarters, and for the number of cycles counted.
    """
    n = len(values)
    before = np.arange(FEWEST_QUARTERS, n - FEWEST_QUARTERS + 1)
    if not before.size:
        return 0.0, 0
    left_weight, left_sum, left_count = (
        np.cumsum(each)[before - 1] for each in (weight, weight * values, counted)
    )
    right_weight, right_count = weight.sum() - left_weight, counted.sum() - left_count
    left, right = left_sum / left_weight, (weight @ values - left_sum) / right_weight
    within = weight @ values**2 - left_weight * left**2 - right_weight * right**2
    own = np.sqrt(np.maximum(within, 0.0) / weight.sum() * n / (n - 2))
    counting = 1 / np.maximum(left_count, 0.5) + 1 / np.maximum(right_count, 0.5)
    share = 1 / before + 1 / (n - before)
    normal, student = norm.isf(CHANCE / 2), t.isf(CHANCE / 2, n - 2)
    allowed = np.hypot(
        np.maximum(student * own, normal * max(scatter, 1e-9)) * np.sqrt(share),
        normal * np.sqrt(counting),
    )
    gap = np.abs(right - left)
    width = np.where(gap >= least, gap / allowed, 0.0)
    place = int(np.argmax(width))
    return float(width[place]), int(before[place])


def _stretches(life: pd.DataFrame, cuts: list[int], end: float) -> pd.DataFrame:
    """Duty of each stretch between the cuts, from age 0 to the end of the life."""
    edges = [0.0, *life["from_years"].to_numpy()[cuts], end]
    part = np.searchsorted(cuts, np.arange(len(life)), side="right")
    weight = np.bincount(part, life["weight"])
    ratio = np.bincount(part, life["weight"] * life["ratio"]) / weight
    cycles = np.bincount(part, life["weight"] * life["cycles_per_year"].fillna(0.0)) / weight
    return pd.DataFrame(
        {
            "install_id": life["install_id"].iloc[0],
            "from_years": edges[:-1],
            "to_years": edges[1:],
            "operating_ratio": np.exp(ratio),
            "cycles_per_year": cycles,
        }
    )
