"""What does the clock of a historian say? Times with and without a zone, on one straight clock.

The plant's days are days of its own zone, but a clock that is put forward and back each year
is no measure of time. Inside, a time is the plant's standard time: UTC plus the zone's offset
in winter, never put forward. It runs straight, and its days are the plant's to within the
hour of summer time.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd
from numba import njit
from numpy.typing import NDArray

__all__ = ["NO_ZONE", "Clock", "clock_of", "from_utc", "from_wall"]

Ints = NDArray[np.int64]

_FROM, _UNTIL = "1970-01-01", "2101-01-01"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clock:
    """How a zone's clock was and will be put, in milliseconds.

    Attributes
    ----------
    offset : int
        Standard time less UTC. [ms]
    wall_ends : ndarray of int, shape (k,)
        What the clock showed as each period of one offset ended, ascending; the last is
        after all time. [ms]
    ahead : ndarray of int, shape (k,)
        How far the clock was ahead of standard time in each period. [ms]
    repeats : ndarray of int, shape (r, 3)
        Begin and end, in standard time, of each stretch that the clock shows a second time,
        and by how much later the second time is. [ms]
    """

    offset: int
    wall_ends: Ints
    ahead: Ints
    repeats: Ints


NO_ZONE = Clock(
    offset=0,
    wall_ends=np.array([np.iinfo(np.int64).max]),
    ahead=np.zeros(1, np.int64),
    repeats=np.empty((0, 3), np.int64),
)
"""The clock of logs that declare no zone: what is written is taken as it stands."""


@cache
def clock_of(zone: str | None) -> Clock:
    """Read how a zone's clock is put from the machine's own time zone table.

    Parameters
    ----------
    zone : str or None
        An IANA name; None when the logs declare none.

    Examples
    --------
    >>> clock_of("Europe/Berlin").offset // 3_600_000
    1
    """
    if zone is None:
        return NO_ZONE
    year = np.array(["2025-01-01", "2025-07-01"], "datetime64[D]")
    standard = int(_offsets(year, zone).min())
    at, offsets = _changes(zone)
    ends = np.append(at + offsets[:-1], np.iinfo(np.int64).max)
    fall = offsets[:-1] - offsets[1:]
    back = fall > 0
    end = at[back] + standard
    return Clock(
        offset=standard,
        wall_ends=ends,
        ahead=offsets - standard,
        repeats=np.column_stack([end - fall[back], end, fall[back]]),
    )


def _changes(zone: str) -> tuple[Ints, Ints]:
    """Give the UTC instants at which the offset changes, to the minute, and all offsets."""
    instants = np.arange(_FROM, _UNTIL, dtype="datetime64[D]").astype("datetime64[m]")
    for minutes in (60, 1):
        offsets = _offsets(instants, zone)
        changed = np.flatnonzero(np.diff(offsets))
        if not changed.size:
            return np.empty(0, np.int64), offsets[:1]
        within = [np.arange(instants[i], instants[i + 1] + 1, minutes) for i in changed]
        instants = np.concatenate(within)
    offsets = _offsets(instants, zone)
    changed = np.flatnonzero(np.diff(offsets))
    after = instants[changed + 1].astype("datetime64[ms]").astype(np.int64)
    return after, np.concatenate([offsets[:1], offsets[changed + 1]])


def _offsets(instants: NDArray[np.datetime64], zone: str) -> Ints:
    """Local time less UTC at UTC instants. [ms]"""
    utc = pd.DatetimeIndex(instants.astype("datetime64[ns]"))
    local = utc.tz_localize("UTC").tz_convert(zone).tz_localize(None)
    return np.asarray((local - utc).to_numpy().astype("timedelta64[ms]").astype(np.int64))


def from_utc(times: Ints, clock: Clock) -> Ints:
    """Take UTC times to standard time. [ms]"""
    return times if clock.offset == 0 else times + clock.offset


def from_wall(times: Ints, clock: Clock) -> Ints:
    """Take times as the clock shows them to standard time, a repeated hour for its first. [ms]"""
    return times if len(clock.ahead) == 1 else _straighten(times, clock.wall_ends, clock.ahead)


@njit(cache=True, nogil=True)
def _straighten(times: Ints, wall_ends: Ints, ahead: Ints) -> Ints:  # pragma: no cover
    straight = np.empty(times.size, np.int64)
    begins, ends, shift = np.int64(1), np.int64(0), np.int64(0)  # no period yet
    for row in range(times.size):
        now = times[row]
        if now < begins or now >= ends:
            period = np.searchsorted(wall_ends, now, side="right")
            period = min(period, wall_ends.size - 1)
            begins = wall_ends[period - 1] if period > 0 else np.int64(-(2**62))
            ends, shift = wall_ends[period], ahead[period]
        straight[row] = now - shift
    return straight
