"""What do the charts watch, and how large must a change be to be worth watching for?

Three families: installation failures and defects found, of all, by site and by crew, each held
against its own level so far; and the failures of each lot, held against the fleet's law.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.early.change_chart import passing
from analytics.early.crews_and_lots import FEWEST_EVENTS, alikeness, group_rates
from analytics.early.run_length import Score, cluster_part, cluster_score, failure_score
from analytics.early.usual_fitting import Usual, levels, monthly, reached_by_change, shares
from analytics.early.watched_records import FoundDefects

__all__ = ["ALL", "LOT_RATIO", "RATIOS", "Family", "Group", "failures", "of_lots", "records"]

ALL = "all"
"""Kind and group of the chart of everything watched."""

RATIOS = (2.0, 0.5)
"""Changes watched for: doubled and halved. Smaller ones are seen too, later."""

LOT_RATIO = 4.0
"""Rise of a lot's failures watched for."""

_SMALLEST_SHARE = 0.01
_VAGUE = 1.0
"""Of the whole nothing is known beforehand. [events]"""

_BEST_KNOWN = 30.0
"""However alike the groups, one of them is not taken to be known better than this. [events]"""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """One chart: what was seen and expected at each of its days.

    Attributes
    ----------
    kind, name : str
        `all`, `site`, `crew` or `lot`, and which.
    events : float
        Its size: premature failures, or defects found. [-]
    day, observed, expected : ndarray, shape (n,)
        Days in order, what was seen on each and expected of usual practice since the one before.
        [days], [-]
    level : float
        Its practice over the whole log against the usual. [-]
    shape : float
        How well its level is known beforehand, infinite for a lot. [-]
    members : ndarray of bool or None, shape (lives,)
        Which lives belong to it; None where wear has no say.
    """

    kind: str
    name: str
    events: float
    day: Array
    observed: Array
    expected: Array
    level: float = 1.0
    shape: float = np.inf
    members: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Charts of one design.

    Attributes
    ----------
    name : str
        `failures`, `records` or `lots`.
    groups : tuple of Group
        Its charts; groups below five events have none.
    ratios : (float, float)
        Rise and fall watched for. [-]
    scores : tuple of Score
        Of the rise and, where a fall is watched for, of the fall.
    per_year : float
        Expected over all its groups, those without a chart too. [events/years]
    reached : ndarray, shape (m,)
        How far a change has come 1, 2, ... months after it. [-]
    speaks : float
        What one event tells, against a single one. [-]
    """

    name: str
    groups: tuple[Group, ...]
    ratios: tuple[float, float]
    scores: tuple[Score, ...]
    per_year: float
    reached: Array
    speaks: float = 1.0


def failures(usual: Usual) -> Family:
    """Chart the installation failures of all, by site and by crew."""
    groups: list[Group] = []
    per_year = 0.0
    usually = np.ones(len(usual.lives))
    for kind, label in _labels(usual.lives):
        level = levels(usual, label) if kind != ALL else usually
        seen = shares(usual, level)
        shape = _shape(kind, label, seen, usual.expected)
        codes, names = pd.factorize(label)
        by_month = monthly(usual, codes, usually, len(names))
        for code, name in enumerate(names):
            members = codes == code
            own = float(level[members][0])
            per_year += own * float(by_month[code].sum()) / usual.years
            events = float(usual.events[members].sum())
            if events < FEWEST_EVENTS:
                continue
            failed = members & (usual.events > 0)
            points = _points(usual.edges, by_month[code], usual.found[failed], seen[failed])
            groups.append(
                Group(
                    kind=kind,
                    name=str(name),
                    events=events,
                    day=points[0],
                    observed=points[1],
                    expected=points[2],
                    level=own,
                    shape=shape,
                    members=members,
                )
            )
    speaking = np.maximum(shares(usual, usually)[usual.events > 0], _SMALLEST_SHARE)
    return Family(
        name="failures",
        groups=tuple(groups),
        ratios=RATIOS,
        scores=tuple(failure_score(ratio, speaking) for ratio in RATIOS),
        per_year=per_year,
        reached=reached_by_change(usual),
    )


def of_lots(usual: Usual, lots: pd.DataFrame) -> Family:
    """Chart the premature failures of each lot of `lots`, as `lots_by_month` gives it."""
    label = usual.lives["lot"]
    groups = []
    for name in lots.index:
        members = label.eq(name).to_numpy()
        failed = members & (usual.events > 0)
        day, observed, expected = _points(
            usual.edges,
            lots.loc[name].to_numpy(dtype=float),
            usual.found[failed],
            usual.events[failed],
        )
        groups.append(
            Group(
                kind="lot",
                name=str(name),
                events=float(usual.events[members].sum()),
                day=day,
                observed=observed,
                expected=expected,
            )
        )
    known = usual.events[label.notna().to_numpy() & (usual.events > 0)]
    return Family(
        name="lots",
        groups=tuple(groups),
        ratios=(LOT_RATIO, 1 / LOT_RATIO),
        scores=(failure_score(LOT_RATIO, np.maximum(known, _SMALLEST_SHARE)),)
        if len(known)
        else (),
        per_year=float(known.sum()) / usual.years,
        reached=np.ones(len(usual.edges) - 1),
    )


def records(found: FoundDefects, usual: Usual) -> Family:
    """Chart the defects found of checks recorded, of all, by site and by crew."""
    day = np.asarray(
        (found.fittings["installed_on"] - usual.begins).dt.total_seconds() / 86_400, dtype=float
    )
    groups = []
    per_year = 0.0
    for kind, label in _labels(found.fittings):
        rates = group_rates(label, found.found, found.expected, fewest_events=0)
        shape = _shape(kind, label, found.found, found.expected)
        for name, own in zip(rates["group"], rates["rate_ratio"], strict=True):
            rows = label.eq(name).to_numpy()
            own = 1.0 if kind == ALL else float(own)
            per_year += own * float(found.expected[rows].sum()) / usual.years
            if found.found[rows].sum() < FEWEST_EVENTS:
                continue
            days, seen, awaited = _by_day(day[rows], found.found[rows], found.expected[rows])
            groups.append(
                Group(
                    kind=kind,
                    name=str(name),
                    events=float(seen.sum()),
                    day=days,
                    observed=seen,
                    expected=awaited,
                    level=own,
                    shape=shape,
                )
            )
    at_once = found.found[found.found > 0]
    return Family(
        name="records",
        groups=tuple(groups),
        ratios=RATIOS,
        scores=tuple(cluster_score(ratio, at_once) for ratio in RATIOS),
        per_year=per_year,
        reached=np.ones(len(usual.edges) - 1),
        speaks=cluster_part(at_once),
    )


def _shape(kind: str, label: pd.Series, seen: Array, awaited: Array) -> float:
    """How well a group's level is known from the others', in events."""
    if kind == ALL:
        return _VAGUE
    return float(np.clip(alikeness(label, seen, awaited), _VAGUE, _BEST_KNOWN))


def _by_day(day: Array, seen: Array, awaited: Array) -> tuple[Array, Array, Array]:
    """Add up what is seen and expected on each day, after a first point with neither."""
    days, at = np.unique(day, return_inverse=True)
    sums = [np.bincount(at, weights=values, minlength=len(days)) for values in (seen, awaited)]
    return np.append(0.0, days), np.append(0.0, sums[0]), np.append(0.0, sums[1])


def _labels(frame: pd.DataFrame) -> Iterator[tuple[str, pd.Series]]:
    yield ALL, pd.Series(ALL, index=frame.index)
    for kind in ("site", "crew"):
        if frame[kind].nunique() > 1:
            yield kind, frame[kind]


def _points(
    edges: Array, by_month: Array, days: Array, weights: Array
) -> tuple[Array, Array, Array]:
    """Days of a chart in order, month ends and failures, with what was seen and expected."""
    day = np.concatenate([edges, days])
    order = np.argsort(day, kind="stable")
    seen = np.concatenate([np.zeros(len(edges)), weights])[order]
    so_far = np.interp(day[order], edges, np.append(0.0, np.cumsum(by_month)))
    return np.repeat(day[order], 2), *passing(seen, np.diff(so_far, prepend=0.0))
