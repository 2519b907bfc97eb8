"""Which crews and lots see more early failures than their duty explains.

Events are compared with what the life model expects of the same positions under the
fleet's usual practice, so a crew that works hard positions is not blamed for them.
An association, never proof of a cause.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar
from scipy.stats import gamma, nbinom, poisson

__all__ = ["FEWEST_EVENTS", "FALSE_FLAG_RATE", "group_rates"]

FEWEST_EVENTS = 5
"""A crew with fewer events gets no rate. Common practice, no source."""

FALSE_FLAG_RATE = 0.05 / 3
"""Chance that any group of one kind is flagged when none differs; defects, crews and
lots share five in a hundred."""

_EVEN = 1e4
_UNEVEN = 0.2

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Groups:
    labels: list[str]
    events: Array
    expected: Array


def group_rates(
    label: pd.Series, events: Array, expected: Array, *, fewest_events: int = FEWEST_EVENTS
) -> pd.DataFrame:
    r"""Compare observed with expected failures by group, shrunken and with limits.

    Each group's true ratio is taken as drawn from a gamma distribution of mean 1 whose
    spread is found by maximum marginal likelihood, so with O events against E expected

    .. math:: \theta \mid O \sim \mathrm{Gamma}(\alpha + O,\; \alpha + E)

    Parameters
    ----------
    label : Series of str, one per life
        Crew or lot; lives without one are left out.
    events, expected : ndarray, shape (n_lives,)
        Premature failures (parts of one where unclear) and cumulative hazard
        over the time watched. [-]
    fewest_events : int, default 5
        Groups with fewer events get no ratio and no flag. [-]

    Returns
    -------
    DataFrame, most excess first
        `group events expected rate_ratio low high p_value flagged note`; the
        ratio with 95 % limits [-].

    Notes
    -----
    `expected` is scaled so that it adds up to the events. A group is flagged when
    its excess stands out among all groups at `FALSE_FLAG_RATE`, by the Poisson
    tail and the step-up rule.

    References
    ----------
    .. [1] Y. Benjamini and Y. Hochberg, "Controlling the false discovery rate",
       J. R. Statist. Soc. B 57 (1995) 289-300.

    Examples
    --------
    >>> crew = pd.Series(["A"] * 50 + ["B"] * 50)
    >>> events = np.r_[np.ones(40), np.zeros(10), np.ones(8), np.zeros(42)]
    >>> rates = group_rates(crew, events, np.full(100, 0.4))
    >>> rates[["group", "flagged"]].values.tolist()
    [['A', True], ['B', False]]
    """
    groups = _sum_by(label, events, expected)
    if not groups.labels:
        return _frame(groups, *(np.empty(0) for _ in range(4)), fewest_events=fewest_events)
    spread = _spread(groups)
    shape, rate = spread + groups.events, spread + groups.expected
    p_value = poisson.sf(np.floor(groups.events + 1e-9) - 1, groups.expected)
    return _frame(
        groups,
        shape / rate,
        np.asarray(gamma.ppf(0.025, shape, scale=1 / rate)),
        np.asarray(gamma.ppf(0.975, shape, scale=1 / rate)),
        np.asarray(p_value),
        fewest_events=fewest_events,
    )


def _sum_by(label: pd.Series, events: Array, expected: Array) -> _Groups:
    named = label.notna().to_numpy()
    frame = pd.DataFrame({"events": events[named], "expected": expected[named]})
    sums = frame.groupby(label[named].to_numpy()).sum()
    sums = sums[sums["expected"] > 0]
    total = sums["expected"].sum()
    scale = sums["events"].sum() / total if total > 0 else 1.0
    return _Groups(
        labels=[str(name) for name in sums.index],
        events=sums["events"].to_numpy(dtype=float),
        expected=sums["expected"].to_numpy(dtype=float) * (scale if scale > 0 else 1.0),
    )


def _spread(groups: _Groups) -> float:
    """Gamma shape of the true ratios by maximum marginal likelihood; large when all alike."""
    counts = np.round(groups.events)

    def cost(log_shape: float) -> float:
        shape = np.exp(log_shape)
        return -float(nbinom.logpmf(counts, shape, shape / (shape + groups.expected)).sum())

    best = minimize_scalar(cost, bounds=(np.log(_UNEVEN), np.log(_EVEN)), method="bounded")
    return float(np.exp(best.x))


def _frame(
    groups: _Groups,
    ratio: Array,
    low: Array,
    high: Array,
    p_value: Array,
    *,
    fewest_events: int,
) -> pd.DataFrame:
    enough = groups.events >= fewest_events
    flagged = enough & _step_up(p_value, FALSE_FLAG_RATE)
    note = np.where(enough, "", f"fewer than {fewest_events} events: no rate shown")
    frame = pd.DataFrame(
        {
            "group": groups.labels,
            "events": groups.events,
            "expected": groups.expected,
            "rate_ratio": np.where(enough, ratio, np.nan),
            "low": np.where(enough, low, np.nan),
            "high": np.where(enough, high, np.nan),
            "p_value": p_value,
            "flagged": flagged,
            "note": note,
        }
    )
    order = ["flagged", "rate_ratio", "events"]
    return frame.sort_values(order, ascending=False, ignore_index=True)


def _step_up(p_value: Array, rate: float) -> NDArray[np.bool_]:
    """Which p-values stand out among all, by the step-up rule."""
    order = np.argsort(p_value)
    passed = p_value[order] <= rate * np.arange(1, len(p_value) + 1) / max(len(p_value), 1)
    last = int(np.flatnonzero(passed).max(initial=-1))
    chosen = np.zeros(len(p_value), dtype=bool)
    chosen[order[: last + 1]] = True
    return chosen
