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
from scipy.special import gammaln
from scipy.stats import gamma, poisson

__all__ = ["FALSE_FLAG_RATE", "FEWEST_EVENTS", "ODD", "alikeness", "group_rates", "stand_out"]

FEWEST_EVENTS = 5
"""A crew with fewer events gets no rate. Common practice, no source."""

FALSE_FLAG_RATE = 0.05 / 3
"""Chance that any check, or any crew, is flagged when none differs."""

_EVEN = 1e4
_UNEVEN = 0.2
_GRID = 200

ODD = 0.05
"""Part of the groups that may differ from the others by a wide margin. Our choice."""

_WIDE = 0.5
"""Gamma shape of an odd group's ratio: 95 % between a thousandth and five. Our choice."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Groups:
    labels: list[str]
    events: Array
    expected: Array


def group_rates(
    label: pd.Series,
    events: Array,
    expected: Array,
    *,
    fewest_events: int = FEWEST_EVENTS,
    evidence: pd.Series | None = None,
    alarm_at: float | None = None,
) -> pd.DataFrame:
    r"""Compare observed with expected failures by group, shrunken and with limits.

    Most groups' true ratios are taken as drawn from a gamma distribution of mean 1 whose
    spread is found by maximum marginal likelihood, a few, `ODD`, from a wide one, so that one
    bad lot among many alike is not drawn to the mean. With O events against E expected each
    part gives

    .. math:: \theta \mid O \sim \mathrm{Gamma}(\alpha + O,\; \alpha + E)

    and the two are weighed by how well they foretell O.

    Parameters
    ----------
    label : Series of str, one per life
        Crew or lot; lives without one are left out.
    events, expected : ndarray, shape (n_lives,)
        Premature failures (parts of one where unclear) and cumulative hazard
        over the time watched. [-]
    fewest_events : int, default 5
        Groups with fewer events get no ratio and no flag. [-]
    evidence : Series of float, indexed by group, optional
        p-values found another way; without it the Poisson tail. [-]
    alarm_at : float, optional
        Flag every group whose p-value is at most this, in place of the step-up rule; for
        evidence that may be looked at any number of times. [-]

    Returns
    -------
    DataFrame, most excess first
        `group events expected rate_ratio low high p_value flagged note`; the
        ratio with 95 % limits [-].

    Notes
    -----
    `expected` is scaled so that it adds up to the events. A group is flagged when
    its excess stands out among all groups at `FALSE_FLAG_RATE` by the step-up rule.

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
        none = np.empty(0)
        return _frame(groups, (none, none, none), none, none > 0, fewest_events=fewest_events)
    p_value = np.asarray(poisson.sf(np.floor(groups.events + 1e-9) - 1, groups.expected))
    if evidence is not None:
        p_value = evidence.reindex(groups.labels).fillna(1.0).to_numpy(dtype=float)
    stands_out = stand_out(p_value) if alarm_at is None else p_value <= alarm_at
    return _frame(groups, _ratios(groups), p_value, stands_out, fewest_events=fewest_events)


def alikeness(label: pd.Series, events: Array, expected: Array) -> float:
    """Give how alike the groups' usual ratios are: the shape of their Gamma distribution.

    Parameters
    ----------
    label, events, expected
        As in `group_rates`.

    Returns
    -------
    float
        By maximum marginal likelihood: 0.2 very unlike, 10,000 all alike; about one over the
        square of the ratios' relative spread. [-]

    Examples
    --------
    >>> crew = pd.Series(["A", "B", "C", "D"])
    >>> alikeness(crew, np.array([9.0, 11, 10, 10]), np.full(4, 10.0)) > 100
    True
    """
    return _spread(_sum_by(label, events, expected))


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


def _ratios(groups: _Groups) -> tuple[Array, Array, Array]:
    """Posterior mean and 95 % limits of each group's ratio under both parts of the prior."""
    alike, odd = np.full(len(groups.labels), _spread(groups)), np.full(len(groups.labels), _WIDE)
    weight = np.exp(np.log(ODD) + _foretold(groups, _WIDE) - _mixed(groups, float(alike[0])))
    shape, rate = (
        np.stack([part + seen for part in (alike, odd)])
        for seen in (groups.events, groups.expected)
    )
    weights = np.stack([1 - weight, weight])
    ends = np.asarray(gamma.ppf([[[0.001]], [[0.999]]], shape, scale=1 / rate))
    grid = np.geomspace(ends[0].min(axis=0), ends[1].max(axis=0), _GRID)
    parts = np.asarray(gamma.cdf(grid[:, None, :], shape, scale=1 / rate))
    below = np.asarray((weights * parts).sum(axis=1))
    limits = [
        np.array([np.interp(at, below[:, i], grid[:, i]) for i in range(grid.shape[1])])
        for at in (0.025, 0.975)
    ]
    return np.asarray((weights * shape / rate).sum(axis=0)), limits[0], limits[1]


def _spread(groups: _Groups) -> float:
    """Gamma shape of the usual ratios by maximum marginal likelihood; large when all alike."""

    def cost(log_shape: float) -> float:
        return -float(_mixed(groups, float(np.exp(log_shape))).sum())

    best = minimize_scalar(cost, bounds=(np.log(_UNEVEN), np.log(_EVEN)), method="bounded")
    return float(np.exp(best.x))


def _mixed(groups: _Groups, shape: float) -> Array:
    """Log probability of each group's count, usual or odd."""
    usual, odd = _foretold(groups, shape), _foretold(groups, _WIDE)
    return np.asarray(np.logaddexp(np.log1p(-ODD) + usual, np.log(ODD) + odd))


def _foretold(groups: _Groups, shape: float) -> Array:
    """Log probability of each group's count when its ratio is Gamma(shape, shape)."""
    counts, part = groups.events, shape / (shape + groups.expected)
    constant = gammaln(counts + shape) - gammaln(shape) - gammaln(counts + 1)
    return np.asarray(constant + shape * np.log(part) + counts * np.log1p(-part), dtype=float)


def _frame(
    groups: _Groups,
    ratios: tuple[Array, Array, Array],
    p_value: Array,
    stands_out: NDArray[np.bool_],
    *,
    fewest_events: int,
) -> pd.DataFrame:
    ratio, low, high = ratios
    enough = groups.events >= fewest_events
    flagged = enough & stands_out
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


def stand_out(p_value: Array, rate: float = FALSE_FLAG_RATE) -> NDArray[np.bool_]:
    """Say which p-values stand out among all, by the step-up rule.

    Parameters
    ----------
    p_value : ndarray, shape (n,)
        One per group; NaN never stands out. [-]
    rate : float, default `FALSE_FLAG_RATE`
        Share of false ones among those chosen, at most. [-]

    Returns
    -------
    ndarray of bool, shape (n,)
        True for those that stand out.

    Examples
    --------
    >>> stand_out(np.array([0.04, 0.001, 0.9, 0.02]), 0.05).tolist()
    [False, True, False, True]
    """
    known = np.nan_to_num(p_value, nan=1.0)
    order = np.argsort(known)
    passed = known[order] <= rate * np.arange(1, len(known) + 1) / max(len(known), 1)
    last = int(np.flatnonzero(passed).max(initial=-1))
    chosen = np.zeros(len(known), dtype=bool)
    chosen[order[: last + 1]] = True
    return chosen
