"""Which pressure cycles does a series hold? Rainflow counting by ASTM E1049.

Two ranges that follow each other share a point, so the standard's comparison of
ranges is made here on the points themselves. Nothing is subtracted before it is
compared: the count is exact, and the same in any unit of pressure.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numba import njit
from numpy.typing import ArrayLike, NDArray

from analytics.duty.damage import (
    Basquin,
    MeanCorrection,
    corrected_range,
    equivalent_range,
    miner_damage,
)
from analytics.errors import InputError
from analytics.units import Dimension, convert_from

__all__ = [
    "Cycles",
    "cycles_findings",
    "damage_findings",
    "extract_cycles",
    "read_series",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycles:
    """Cycles in the order the standard extracts them.

    Attributes
    ----------
    ranges, means : ndarray of float, shape (n,)
        Size and centre of each cycle, unit of the series.
    counts : ndarray of float, shape (n,)
        1 for a closed cycle, 0.5 for a half cycle.
    """

    ranges: Floats
    means: Floats
    counts: Floats


def extract_cycles(pressure: ArrayLike) -> Cycles:
    """List the rainflow cycles of one unbroken series.

    Parameters
    ----------
    pressure : array_like of float, shape (n,)
        Samples in time order, finite, any one unit.

    Returns
    -------
    Cycles
        In the order of extraction; what is left at the end counts as half cycles.

    Raises
    ------
    ValueError
        If the series is not one row of finite numbers.

    References
    ----------
    .. [1] ASTM E1049-85, Cycle Counting in Fatigue Analysis, 5.4.4.

    Examples
    --------
    >>> found = extract_cycles([-2, 1, -3, 5, -1, 3, -4, 4, -2])
    >>> found.ranges.tolist(), found.counts.tolist()
    ([3.0, 4.0, 4.0, 8.0, 9.0, 8.0, 6.0], [0.5, 0.5, 1.0, 0.5, 0.5, 0.5, 0.5])
    """
    series: Floats = np.ascontiguousarray(pressure, dtype=float)
    if series.ndim != 1 or not np.isfinite(series).all():
        raise ValueError(
            "pressure must be one row of finite numbers, got "
            f"shape {series.shape} with {int((~np.isfinite(series)).sum())} not finite"
        )
    begins, ends, counts = _extract(series)
    return Cycles(ranges=np.abs(ends - begins), means=0.5 * (begins + ends), counts=counts)


def cycles_findings(frame: pd.DataFrame, *, threshold: float = 0.0) -> dict[str, Any]:
    """Count the cycles of a series and say so in plain names.

    Parameters
    ----------
    frame : DataFrame
        A column `pressure`, as `read_series` gives it; NaN ends a segment.
    threshold : float, default 0
        Cycles of a smaller range are found but not counted. [unit of the series]

    Returns
    -------
    dict
        `cycles`: one {range, mean, count} per cycle in the order of extraction;
        `totals`: one {range, count} per distinct range, ascending; `threshold`,
        `below_threshold` (cycles left out), `samples`, `missing`, `segments`,
        `closed_cycles`, `half_cycles`, `vacuum_crossings`.

    Raises
    ------
    InputError
        If there is no column `pressure`.

    Examples
    --------
    >>> cycles_findings(pd.DataFrame({"pressure": [0.0, 2.0, 0.0]}))["totals"]
    [{'range': 2.0, 'count': 1.0}]
    """
    if "pressure" not in frame:
        raise InputError(
            f"a series needs a column pressure, got {', '.join(map(str, frame.columns))}"
        )
    series = frame["pressure"].to_numpy(dtype=float)
    segments = _segments(series)
    found = [extract_cycles(segment) for segment in segments]
    ranges, means, counts = (
        np.concatenate([np.empty(0), *(getattr(part, name) for part in found)])
        for name in ("ranges", "means", "counts")
    )
    counted = ranges >= threshold
    below = float(counts[~counted].sum())
    ranges, means, counts = ranges[counted], means[counted], counts[counted]
    distinct, where = np.unique(ranges, return_inverse=True)
    totals = np.bincount(where, weights=counts, minlength=distinct.size)
    return {
        "cycles": [
            {"range": span, "mean": mean, "count": count}
            for span, mean, count in zip(
                ranges.tolist(), means.tolist(), counts.tolist(), strict=True
            )
        ],
        "totals": [
            {"range": span, "count": count}
            for span, count in zip(distinct.tolist(), totals.tolist(), strict=True)
        ],
        "threshold": threshold,
        "below_threshold": below,
        "samples": int(series.size),
        "missing": int(np.isnan(series).sum()),
        "segments": len(segments),
        "closed_cycles": int((counts == 1.0).sum()),
        "half_cycles": int((counts == 0.5).sum()),
        "vacuum_crossings": sum(int(np.diff(part < 0).sum()) for part in segments),
    }


def damage_findings(
    found: dict[str, Any],
    cycles_to_failure: float | None,
    slope: float | None,
    correction: MeanCorrection,
    burst_pressure: float | None,
) -> dict[str, float]:
    """Add up the fatigue life that counted cycles used, by the curve the user states.

    Parameters
    ----------
    found : dict
        As from `cycles_findings`.
    cycles_to_failure : float
        At a range of one unit of the series. [-]
    slope : float
        Basquin slope. [-]
    correction : MeanCorrection
        How the mean enters; GOODMAN needs the burst pressure.
    burst_pressure : float or None
        Same unit as the series.

    Returns
    -------
    dict
        `miner_damage` [-] and `equivalent_range`, the one range that in as many cycles does
        as much harm, its mean corrected [unit of the series]; 0 without a cycle.

    Raises
    ------
    InputError
        If half of the curve is missing or a number does not fit.
    """
    if cycles_to_failure is None or slope is None:
        raise InputError("fatigue life used needs both --cycles-to-failure and --slope")
    cycles = pd.DataFrame(found["cycles"], columns=["range", "mean", "count"])
    try:
        curve = Basquin(cycles_at_unit_range=cycles_to_failure, slope=slope)
        burst = np.nan if burst_pressure is None else burst_pressure
        spans = corrected_range(cycles["range"], cycles["mean"], correction, burst)
        damage = miner_damage(spans, cycles["count"], curve)
        alike = equivalent_range(spans, cycles["count"], slope) if len(cycles) else 0.0
    except ValueError as error:
        raise InputError(str(error)) from None
    return {"miner_damage": damage, "equivalent_range": alike}


def read_series(path: str) -> pd.DataFrame:
    """Read a CSV with a column `pressure`, or `pressure [unit]` to convert to bar gauge.

    Parameters
    ----------
    path : str
        The file; a blank cell is a sample without a value.

    Returns
    -------
    DataFrame
        One float column `pressure`; NaN where the cell was blank.

    Raises
    ------
    InputError
        If the file cannot be read, lacks the column, is empty or holds a cell that
        is not a finite number.
    UnitError
        If the unit is not a gauge or absolute pressure.
    """
    try:
        text = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise InputError(f"{path} must be a CSV file that can be read: {error}") from error
    names = [name for name in text.columns if name.strip().partition(" [")[0] == "pressure"]
    if len(names) != 1:
        raise InputError(
            f"{path} needs one column pressure or pressure [unit], got {', '.join(text.columns)}"
        )
    cells = text[names[0]].str.strip()
    pressure = _numbers(path, cells)
    unit = names[0].strip().partition(" [")[2].rstrip("]")
    if unit:
        pressure = convert_from(pressure, unit, Dimension.GAUGE_PRESSURE)
    return pd.DataFrame({"pressure": pressure})


def _numbers(path: str, cells: "pd.Series[str]") -> Floats:
    if cells.empty:
        raise InputError(f"{path} needs at least one row below its header, got none")
    values = pd.to_numeric(cells.where(cells != ""), errors="coerce").to_numpy(dtype=float)
    wrong = (cells != "").to_numpy() & ~np.isfinite(values)
    if wrong.any():
        line = int(np.argmax(wrong))
        raise InputError(
            f"{path} line {line + 2}: pressure must be a finite number or blank, "
            f"got {cells.iloc[line]!r}"
        )
    return np.asarray(values, dtype=float)


def _segments(series: Floats) -> list[Floats]:
    """Cut a series at its missing samples: a gap is never joined across."""
    known = ~np.isnan(series)
    cuts = np.flatnonzero(np.diff(known)) + 1
    return [part for part in np.split(series, cuts) if part.size and not np.isnan(part[0])]


@njit(cache=True, nogil=True)
def _extract(series: Floats) -> tuple[Floats, Floats, Floats]:  # pragma: no cover
    """ASTM E1049 5.4.4 with a stack of points; `start` is the standard's point S."""
    stack = np.empty(series.size)
    begins = np.empty(series.size)
    ends = np.empty(series.size)
    counts = np.empty(series.size)
    top = -1  # last point on the stack
    start = 0
    found = 0
    for point in series:
        if top - start < 0:
            top += 1
            stack[top] = point
            continue
        last = stack[top]
        if point == last:
            continue
        if top > start and (point > last) == (last > stack[top - 1]):
            stack[top] = point  # still on the way: the last point was no reversal
        else:
            top += 1
            stack[top] = point
        while top - start >= 2:
            before = stack[top - 2]
            rising = point > stack[top - 1]
            if (point < before) if rising else (point > before):
                break  # range X is smaller than Y: read on
            begins[found] = before
            ends[found] = stack[top - 1]
            if top - start == 2:  # Y holds the starting point
                counts[found] = 0.5
                start += 1
            else:
                counts[found] = 1.0
                top -= 2
                stack[top] = point
            found += 1
    for index in range(start, top):
        begins[found] = stack[index]
        ends[found] = stack[index + 1]
        counts[found] = 0.5
        found += 1
    return begins[:found].copy(), ends[:found].copy(), counts[:found].copy()
