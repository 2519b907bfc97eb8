r"""How many discs will each store hand out, week by week?

For every store and disc code the number of discs used by week t is

.. math::
    D(t) = \text{planned}(t) + \sum_i N_i(t) + \text{common upsets}(t) + \text{fitting losses}(t)

with N_i the count of one position (`counts`; planned replacements that are not
certain are counted there, with the chances past outages give them), common upsets
those that open two or more discs of the group (`upsets`), and a share of discs spoilt
on fitting. Distributions are multiplied out draw by draw and then mixed over the draws, so
what is not known about the life law widens the answer.

Given a draw, a position and a group whose upsets open one disc at a time are
exact up to the step of the convolution. Positions that one upset opens together
are tied by it (`opened_together`): their distribution is a mean over upset
histories laid out by a lattice rule, which a million futures played out do not
tell from the truth.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.spares.counts import WEEK_YEARS, Chances, Pieces, choose_step, position_counts
from analytics.spares.opened_together import HISTORIES, unit_counts
from analytics.spares.sums import CountSum, shifted, spoilt
from analytics.spares.upsets import UpsetRates, hits_in_group
from analytics.survival.law import LifeLaw

__all__ = ["DemandForecast", "GroupDemand", "PositionDemand", "forecast_demand"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionDemand:
    """The positions to be supplied; arrays of n positions.

    Attributes
    ----------
    store, disc_code, unit : ndarray of str, shape (n,)
        Store that supplies the position, code of the disc it needs and the
        process unit whose upsets it shares.
    age_years : ndarray, shape (n,)
        Age of the disc now fitted, >= 0. [years]
    planned_weeks : tuple of tuple of int
        Per position the weeks from now of its planned replacements, ascending;
        a disc due on that date is replaced whatever its age, unless chances say
        otherwise. [weeks]
    current, following : LifeLaw
        Law of the disc now fitted and of every later one, (n_draws, n).
    unclear_rate : ndarray, shape (n_draws, n)
        Rate of endings of unknown kind that the laws leave out; all zero when
        the laws already count them as premature. [1/years]
    due_chance, young_chance : ndarray, shape (n_draws, n), or None
        Chance that a planned replacement is made when the disc it was planned for is
        still in, and when a younger one has taken its place; None when certain. [-]
    """

    store: NDArray[np.object_]
    disc_code: NDArray[np.object_]
    unit: NDArray[np.object_]
    age_years: Array
    planned_weeks: tuple[tuple[int, ...], ...]
    current: LifeLaw
    following: LifeLaw
    unclear_rate: Array
    due_chance: Array | None = None
    young_chance: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupDemand:
    """Cumulative demand for one disc code from one store, by week 0 .. n_weeks.

    Attributes
    ----------
    store, disc_code : str
        The group.
    n_positions : int
        Positions it supplies.
    pmf : ndarray, shape (n_weeks + 1, n_counts)
        Probability that 0, 1, 2 ... discs were used by each week. [-]
    planned, premature, upset, unclear, fitting : ndarray, shape (n_weeks + 1,)
        The parts of the expected number. [-]
    by_draw : ndarray, shape (n_weeks + 1, n_draws), or None
        Expected number used beyond what is planned, in each parameter draw. [-]
    """

    store: str
    disc_code: str
    n_positions: int
    pmf: Array
    planned: Array
    premature: Array
    upset: Array
    unclear: Array
    fitting: Array
    by_draw: Array | None = None

    @property
    def mean(self) -> Array:
        """Expected number of discs used by each week."""
        return self.planned + self.premature + self.upset + self.unclear + self.fitting


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandForecast:
    """Demand of every store and disc code.

    Attributes
    ----------
    groups : tuple of GroupDemand
        Ordered by store and disc code.
    n_weeks : int
        Horizon. [weeks]
    step_weeks : float
        Step of the convolution that was chosen. [weeks]
    error : float
        Largest error seen in a count probability of one position. [-]
    """

    groups: tuple[GroupDemand, ...]
    n_weeks: int
    step_weeks: float
    error: float


@dataclass(frozen=True, slots=True)
class _Common:
    """Upsets of one unit that open several discs of a group: rate per draw, share by size."""

    members: NDArray[np.int64]
    rate: Array
    hits: Array


@dataclass(frozen=True, slots=True)
class _Upsets:
    """Rates per draw and position of one group, and what ties its positions together."""

    single: Array
    every: Array
    common: tuple[_Common, ...]


def forecast_demand(
    positions: PositionDemand,
    upsets: UpsetRates | None = None,
    *,
    n_weeks: int = 104,
    fitting_loss: float = 0.03,
    tolerance: float = 2e-5,
    one_by_one: bool = False,
) -> DemandForecast:
    """Work out the distribution of cumulative demand per store and disc code.

    Parameters
    ----------
    positions : PositionDemand
        The fleet and its life laws.
    upsets : UpsetRates, optional
        Upsets per process unit; without it no disc opens on demand.
    n_weeks : int
        Horizon, at least 1. [weeks]
    fitting_loss : float
        Share of discs spoilt on fitting, in [0, 1). The default is common
        practice, no source. [-]
    tolerance : float
        Wanted error of each count probability of one position. [-]
    one_by_one : bool
        Take each disc as opened on its own: quicker, with the same means, but
        with too narrow a distribution where upsets open several.

    Returns
    -------
    DemandForecast
        One entry per store and disc code.

    Raises
    ------
    ValueError
        If the arrays differ in length, an age is negative or unknown, a
        planned week is out of order, or an option is out of range.
    """
    _check(positions, n_weeks, fitting_loss)
    draws, size = positions.unclear_rate.shape
    rates = _position_rates(positions, upsets, draws)
    step, error = choose_step(
        positions.following,
        n_weeks=n_weeks,
        other_rate=positions.unclear_rate + rates,
        tolerance=tolerance,
    )
    names = list(zip(positions.store, positions.disc_code, strict=True))
    members: dict[tuple[str, str], list[int]] = {}
    for index in range(size):
        members.setdefault(names[index], []).append(index)
    groups = tuple(
        _group(
            positions,
            _upsets_of(positions, upsets, np.array(members[key]), draws, one_by_one=one_by_one),
            np.array(members[key]),
            n_weeks,
            fitting_loss,
            step,
        )
        for key in sorted(members)
    )
    return DemandForecast(groups=groups, n_weeks=n_weeks, step_weeks=step, error=error)


def _group(
    positions: PositionDemand,
    rates: _Upsets,
    members: NDArray[np.int64],
    n_weeks: int,
    fitting_loss: float,
    step: float,
) -> GroupDemand:
    total = CountSum(n_weeks, len(positions.unclear_rate))
    planned, changed = np.zeros(n_weeks + 1), np.zeros((n_weeks + 1, len(positions.unclear_rate)))

    def pieces(column: int, tied: bool) -> Pieces:
        index = members[column]
        found = position_counts(
            positions.current,
            positions.following,
            int(index),
            age_years=float(positions.age_years[index]),
            other_rate=positions.unclear_rate[:, index] + rates.single[:, column],
            planned_weeks=tuple(w for w in positions.planned_weeks[index] if w <= n_weeks),
            n_weeks=n_weeks,
            step_weeks=step,
            whole_fresh=tied,
            chances=_chances(positions, int(index)),
        )
        if found.changed is not None:
            changed[:] += found.changed
        return found

    alone = set(range(len(members)))
    for number, tie in enumerate(rates.common):
        alone -= set(tie.members.tolist())
        total.add(
            unit_counts(
                (pieces(int(column), True) for column in tie.members),
                tie.rate,
                tie.hits,
                n_weeks=n_weeks,
                histories=max(HISTORIES // len(rates.common), HISTORIES // 8),
                seed=number,
            )
        )
    for column in sorted(alone):
        total.add(pieces(column, False).joined)
    if positions.due_chance is None:
        for index in members:
            for week in positions.planned_weeks[index]:
                planned[week:] += 1
    years = WEEK_YEARS * np.arange(n_weeks + 1.0)
    return _finish(
        total.mixed(),
        planned,
        changed.mean(axis=1),
        by_draw=np.maximum(total.means() - changed, 0.0),
        upset=years * rates.every.sum(axis=1).mean(),
        unclear=years * positions.unclear_rate[:, members].sum(axis=1).mean(),
        loss=fitting_loss,
        name=(str(positions.store[members[0]]), str(positions.disc_code[members[0]])),
        n_positions=len(members),
    )


def _chances(positions: PositionDemand, index: int) -> Chances | None:
    if positions.due_chance is None or positions.young_chance is None:
        return None
    return Chances(due=positions.due_chance[:, index], young=positions.young_chance[:, index])


def _finish(
    counted: Array,
    planned: Array,
    changed: Array,
    *,
    by_draw: Array,
    upset: Array,
    unclear: Array,
    loss: float,
    name: tuple[str, str],
    n_positions: int,
) -> GroupDemand:
    """Add the certain replacements and the fitting losses, and name the parts.

    `changed` is the expected part of what is counted already that was planned but not certain.
    """
    mean = counted @ np.arange(counted.shape[1])
    fitted = shifted(counted, planned.astype(int))
    return GroupDemand(
        store=name[0],
        disc_code=name[1],
        n_positions=n_positions,
        pmf=spoilt(fitted, loss),
        planned=planned + changed,
        premature=np.maximum(mean - changed - upset - unclear, 0.0),
        upset=upset,
        unclear=unclear,
        fitting=(planned + mean) * loss / (1 - loss),
        by_draw=by_draw / (1 - loss),
    )


def _position_rates(positions: PositionDemand, upsets: UpsetRates | None, draws: int) -> Array:
    """Rate of upsets that open each position, shape (n_draws, n)."""
    rates = np.zeros((draws, len(positions.age_years)))
    if upsets is None:
        return rates
    where = {unit: column for column, unit in enumerate(upsets.units)}
    for index, unit in enumerate(positions.unit):
        if unit in where:
            column = where[unit]
            hit = hits_in_group(upsets.opened, int(upsets.positions[column]), 1)[1]
            rates[:, index] = upsets.events_per_year[:, column] * hit
    return rates


def _upsets_of(
    positions: PositionDemand,
    upsets: UpsetRates | None,
    members: NDArray[np.int64],
    draws: int,
    *,
    one_by_one: bool,
) -> _Upsets:
    """Split the upsets of a group into those that open one of its discs and more."""
    single, every = np.zeros((2, draws, len(members)))
    common = []
    for column, unit in enumerate(upsets.units if upsets else ()):
        here = np.flatnonzero(positions.unit[members] == unit)
        if upsets is None or here.size == 0:
            continue
        hits = hits_in_group(upsets.opened, int(upsets.positions[column]), here.size)
        rate = upsets.events_per_year[:, column]
        single[:, here] = (rate * hits[1] / here.size)[:, None]
        every[:, here] = (rate * (hits @ np.arange(hits.size)) / here.size)[:, None]
        several = np.where(np.arange(hits.size) > 1, hits, 0.0)
        if several.sum() > 0 and rate.any() and not one_by_one:
            common.append(_Common(here, rate * several.sum(), several / several.sum()))
    return _Upsets(every if one_by_one else single, every, tuple(common))


def _check(positions: PositionDemand, n_weeks: int, fitting_loss: float) -> None:
    size = len(positions.age_years)
    lengths = [
        len(positions.store),
        len(positions.disc_code),
        len(positions.unit),
        len(positions.planned_weeks),
        positions.unclear_rate.shape[1],
    ]
    if any(length != size for length in lengths) or size == 0:
        raise ValueError(f"positions need arrays of one length > 0, got {[size, *lengths]}")
    if not (positions.age_years >= 0).all():
        raise ValueError(f"age_years must be >= 0, got {positions.age_years.min()!r}")
    if n_weeks < 1:
        raise ValueError(f"n_weeks must be >= 1, got {n_weeks!r}")
    if not 0 <= fitting_loss < 1:
        raise ValueError(f"fitting_loss must lie in [0, 1), got {fitting_loss!r}")
    if (positions.due_chance is None) != (positions.young_chance is None):
        raise ValueError("give both due_chance and young_chance, or neither")
    for chance in (positions.due_chance, positions.young_chance):
        if chance is not None and not ((chance >= 0) & (chance <= 1)).all():
            raise ValueError(f"chances must lie in [0, 1], got up to {chance.max()!r}")
    for dates in positions.planned_weeks:
        if any(week < 1 for week in dates) or list(dates) != sorted(set(dates)):
            raise ValueError(f"planned weeks must ascend from 1, got {dates!r}")
