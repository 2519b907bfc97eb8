"""When did each position fail, and how long was it watched? The data of every trend."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError

__all__ = ["Histories", "gaps", "histories"]

Array = NDArray[np.float64]
RANGE = "within 1e-100 to 1e100"


@dataclass(frozen=True, slots=True, kw_only=True)
class Histories:
    """Events of one or more systems, each watched from 0 to its end.

    Build it with `histories`, which checks.

    Attributes
    ----------
    time : ndarray, shape (n_events,)
        Times of the events since the system's start, sorted within a system. [time]
    system : ndarray of int, shape (n_events,)
        Which system each belongs to, 0 to n_systems - 1, sorted. [-]
    end : ndarray, shape (n_systems,)
        Time at which watching ended. [time]
    closed_by_event : ndarray of bool, shape (n_systems,)
        Whether watching ended because of the last event (failure-terminated). [-]
    """

    time: Array
    system: NDArray[np.intp]
    end: Array
    closed_by_event: NDArray[np.bool_]

    @property
    def counted(self) -> NDArray[np.bool_]:
        """Events whose time was free: all but those that ended the watch; shape (n_events,)."""
        last = np.append(self.system[1:] != self.system[:-1], True)
        return np.asarray(~(last & self.closed_by_event[self.system]))

    @property
    def share(self) -> Array:
        """Time of each event as a share of its system's end; shape (n_events,). [-]"""
        return np.asarray(self.time / self.end[self.system])


def histories(
    time: ArrayLike,
    *,
    end: ArrayLike | None = None,
    system: ArrayLike | None = None,
    n_systems: int | None = None,
) -> Histories:
    """Check event times once and give them in the form every trend takes.

    Parameters
    ----------
    time : array_like, shape (n_events,)
        Times of the events since each system's start, > 0. [time]
    end : array_like, scalar or shape (n_systems,), optional
        Time to which each system was watched. A system whose last event lies exactly on
        its end, or that has no end (NaN), was watched until that event. [time]
    system : array_like of int, shape (n_events,), optional
        System of each event, 0 to n_systems - 1; one system without it. [-]
    n_systems : int, optional
        Number of systems, so that those without an event count too. [-]

    Returns
    -------
    Histories
        The same events, sorted by system and time.

    Raises
    ------
    InputError
        If a time is not > 0 or lies beyond its end, or a system without events has no end.

    Examples
    --------
    >>> one = histories([5, 40, 43], end=100)
    >>> one.end, one.closed_by_event
    (array([100.]), array([False]))
    """
    times = np.atleast_1d(np.asarray(time, dtype=float))
    codes = np.zeros(times.shape, dtype=np.intp) if system is None else np.asarray(system)
    if times.ndim != 1 or codes.shape != times.shape:
        raise InputError(f"time and system must have one shape (n,), got {np.shape(time)} times")
    _refuse(times, ~_usable(times), f"time must be finite and > 0, {RANGE}")
    count = _system_count(codes, n_systems)
    order = np.lexsort((times, codes))
    times, codes = times[order], codes[order].astype(np.intp)
    last = np.full(count, np.nan)
    last[codes] = times  # sorted by time, so the last one stays
    ends = np.full(count, np.nan)
    if end is not None:
        ends[:] = np.asarray(end, dtype=float)
    ends = np.where(np.isnan(ends), last, ends)
    if np.isnan(ends).any():
        raise InputError(f"a system without events needs an end; system {np.isnan(ends).argmax()}")
    _refuse(ends, ~_usable(ends), f"end must be finite and > 0, {RANGE}")
    late = times > ends[codes]
    _refuse(times, late, "time must not lie beyond the end of the watch")
    return Histories(time=times, system=codes, end=ends, closed_by_event=last == ends)


def gaps(data: Histories) -> list[Array]:
    """Give the times between successive events of each system, from its start on.

    Parameters
    ----------
    data : Histories
        Event times.

    Returns
    -------
    list of ndarray
        One array per system, in order; empty for a system without events. [time]
    """
    parts = np.split(data.time, np.searchsorted(data.system, np.arange(1, data.end.size)))
    return [np.diff(part, prepend=0.0) for part in parts]


def _system_count(codes: NDArray[np.intp], n_systems: int | None) -> int:
    if codes.size and not (np.all(codes >= 0) and np.all(codes == codes.astype(np.intp))):
        raise InputError("system must hold whole numbers >= 0")
    found = int(codes.max(initial=-1)) + 1
    if n_systems is not None and n_systems < found:
        raise InputError(f"n_systems must be at least {found}, got {n_systems}")
    return max(found, n_systems or 1)


def _usable(values: Array) -> NDArray[np.bool_]:
    return np.asarray((values >= 1e-100) & (values <= 1e100))


def _refuse(values: Array, broken: NDArray[np.bool_], rule: str) -> None:
    if broken.any():
        raise InputError(f"{rule}; {int(broken.sum())} are not, first {values[broken][0]:g}")
