r"""When did the failures of a group begin to come more or less often than before?

A group's own level of practice is known only from what it has done so far, so a change from day
:math:`\tau` on is weighed with the level drawn from a Gamma distribution of mean 1 and shape
:math:`\alpha`: with O and E observed and expected until now, :math:`O_\tau` and :math:`E_\tau`
until then,

.. math::
    \log \Lambda_\tau = (O - O_\tau) \log \rho + (\alpha + O)
        \log \frac{\alpha + E}{\alpha + E_\tau + \rho\,(E - E_\tau)}

S is the highest over all :math:`\tau` so far, at least 0. With the level known, alpha infinite, it
is the CUSUM that goes by :math:`\log \rho\,dO - (\rho - 1)\,dE`, held at 0. One S watches for a
rise and one for a fall; a run of S above 0 that reaches its threshold is a signal, and the day
:math:`\tau` that gave the highest is its change-point.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import f as f_ratio
from scipy.stats import gamma

from analytics.errors import InputError

__all__ = ["Chart", "Signal", "passing", "play", "rate_ratio"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """One run of the chart that reached its threshold.

    Attributes
    ----------
    rose : bool
        Whether more came than expected, or fewer.
    since, signalled, until : int
        Points of the chart: the change-point, the first one at the threshold, and the highest or,
        when the run still goes on, the last.
    still : bool
        Whether S has not been back at 0 by the end.
    observed, expected : float
        Between `since` and `until`, expected at the level before `since`. [failures]
    before : float
        Failures that tell the level before, infinite when it is known. [failures]
    """

    rose: bool
    since: int
    signalled: int
    until: int
    still: bool
    observed: float
    expected: float
    before: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart played to its end.

    Attributes
    ----------
    rise, fall : ndarray, shape (n,)
        S after each point, for a rise and for a fall. [-]
    signals : tuple of Signal
        In the order of their change-points.
    """

    rise: Array
    fall: Array
    signals: tuple[Signal, ...]


def play(
    observed: ArrayLike,
    expected: ArrayLike,
    *,
    ratios: tuple[float, float],
    thresholds: tuple[float, float],
    shape: float = np.inf,
    speaks: float = 1.0,
) -> Chart:
    """Play both CUSUMs over the points of a group.

    Parameters
    ----------
    observed, expected : array_like, shape (n,)
        What was seen and what was expected at each point, both at once, as the checks of a day's
        fittings are. Time that passes before a failure is a point of its own: `passing`.
        [failures]
    ratios : (float, float)
        Rate ratios watched for, above and below 1. [-]
    thresholds : (float, float)
        Heights of the alarm of the rise and of the fall. [-]
    shape : float, default infinity
        How well the level is known beforehand, in failures: the Gamma shape. [-]
    speaks : float, default 1
        What one event tells, against a single one. [-]

    Returns
    -------
    Chart
        Both paths and the signals.

    Raises
    ------
    InputError
        If the ratios do not lie on both sides of 1, or a threshold or the shape is not positive.

    Examples
    --------
    >>> seen, awaited = [0, 1, 1, 1, 1], [1, .1, .1, .1, .1]
    >>> chart = play(seen, awaited, ratios=(2.0, 0.5), thresholds=(2.0, 2.0))
    >>> [(s.rose, s.since, s.signalled, s.observed) for s in chart.signals]
    [(True, 0, 4, 4.0)]
    """
    if not ratios[0] > 1 > ratios[1] > 0:
        raise InputError(f"one ratio must lie above 1 and one between 0 and 1, got {ratios}")
    if not min(*thresholds, shape) > 0:
        raise InputError(f"thresholds and shape must be positive, got {thresholds} and {shape}")
    seen, awaited = (np.asarray(values, dtype=float) for values in (observed, expected))
    paths, signals = [], []
    for ratio, threshold in zip(ratios, thresholds, strict=True):
        score = _scores(speaks * seen, speaks * awaited, ratio, speaks * shape)
        paths.append(score.path)
        signals += list(_signals(score, seen, awaited, threshold, shape, rose=ratio > 1))
    return Chart(
        rise=paths[0], fall=paths[1], signals=tuple(sorted(signals, key=lambda s: s.since))
    )


def rate_ratio(
    observed: float, expected: float, before: float = np.inf
) -> tuple[float, float, float]:
    """Give a rate ratio with exact 95 % limits.

    Parameters
    ----------
    observed, expected : float
        Failures, parts of one allowed; `expected` > 0. [failures]
    before : float, default infinity
        Failures that tell the level behind `expected`. [failures]

    Returns
    -------
    ratio, low, high : float
        Limits of the ratio of two Poisson rates, of one when the level is known. They take no
        account of the window having been chosen because it stood out. [-]

    Examples
    --------
    >>> [round(value, 3) for value in rate_ratio(10.0, 10.0)]
    [1.0, 0.48, 1.839]
    """
    low, high = 0.0, float(gamma.ppf(0.975, observed + 1))
    if observed > 0:
        low = float(gamma.ppf(0.025, observed))
    if np.isfinite(before):
        more = float(f_ratio.ppf(0.975, 2 * observed + 2, 2 * max(before, 0.5)))
        high = (observed + 1) * more
        if observed > 0:
            less = float(f_ratio.ppf(0.975, 2 * before + 2, 2 * observed))
            low = observed * before / (before + 1) / less
    return observed / expected, low / expected, high / expected


def passing(observed: Array, expected: Array) -> tuple[Array, Array]:
    """Let what is expected at each point pass before what is seen there: two points for each.

    Examples
    --------
    >>> [values.tolist() for values in passing(np.array([1.0, 2.0]), np.array([0.3, 0.4]))]
    [[0.0, 1.0, 0.0, 2.0], [0.3, 0.0, 0.4, 0.0]]
    """
    none = np.zeros(len(observed))
    return np.stack([none, observed], axis=1).ravel(), np.stack([expected, none], axis=1).ravel()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Score:
    """S after each point, and the change-point that gives it."""

    path: Array
    since: NDArray[np.int_]


def _scores(seen: Array, awaited: Array, ratio: float, shape: float) -> _Score:
    jump = float(np.log(ratio))
    if not np.isfinite(shape):
        return _known_level(jump * seen + (1 - ratio) * awaited)
    observed, expected = np.cumsum(seen), np.cumsum(awaited)
    path, since = np.zeros(len(seen)), np.arange(len(seen))
    for i in range(1, len(seen)):
        then = expected[:i]
        since_then = np.log((shape + expected[i]) / (shape + then + ratio * (expected[i] - then)))
        score = jump * (observed[i] - observed[:i]) + (shape + observed[i]) * since_then
        best = int(np.argmax(score))
        if score[best] > 0:
            path[i], since[i] = float(score[best]), best
    return _Score(path=path, since=since)


def _known_level(moves: Array) -> _Score:
    path, since = np.empty(len(moves)), np.empty(len(moves), dtype=int)
    now, zero = 0.0, 0
    for i, move in enumerate(moves.tolist()):
        now = max(now + move, 0.0)
        path[i], since[i] = now, zero
        if now == 0:
            zero = i
    return _Score(path=path, since=since)


def _signals(
    score: _Score, seen: Array, awaited: Array, threshold: float, shape: float, *, rose: bool
) -> Iterator[Signal]:
    reached = np.flatnonzero(score.path >= threshold)
    end = -1
    while (later := reached[reached > end]).size:
        begin, signalled = end + 1, int(later[0])
        back = np.flatnonzero(score.path[signalled:] <= 0)
        still = not back.size
        end = len(seen) - 1 if still else signalled + int(back[0])
        until = end if still else begin + int(np.argmax(score.path[begin : end + 1]))
        since = int(score.since[until])
        before = shape + float(seen[: since + 1].sum())
        level = 1.0
        if np.isfinite(shape):
            level = before / (shape + float(awaited[: since + 1].sum()))
        window = slice(since + 1, until + 1)
        yield Signal(
            rose=rose,
            since=since,
            signalled=signalled,
            until=until,
            still=still,
            observed=float(seen[window].sum()),
            expected=level * float(awaited[window].sum()),
            before=before,
        )
