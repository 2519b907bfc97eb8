"""A fleet played out event by event, to hold against the computed demand.

Continuous time, no grid: lives by inversion of the cumulative hazard, upsets as
a Poisson stream per process unit, planned replacements on their dates.
"""

from dataclasses import dataclass

import numpy as np

from analytics.spares.counts import WEEK_YEARS
from analytics.spares.demand import PositionDemand
from analytics.spares.upsets import UpsetRates
from analytics.survival.law import Family


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """Discs used by each week asked for, shape (n_runs, n_weeks), and the parts' means."""

    used: np.ndarray
    premature: np.ndarray
    upset: np.ndarray
    unclear: np.ndarray


def simulate(
    positions: PositionDemand,
    upsets: UpsetRates | None,
    *,
    runs: int,
    weeks: tuple[int, ...],
    fitting_loss: float,
    seed: int,
    chunk: int = 50_000,
) -> Simulated:
    rng = np.random.default_rng(seed)
    parts = [
        _play(positions, upsets, min(chunk, runs - start), weeks, rng)
        for start in range(0, runs, chunk)
    ]
    ends = np.concatenate(parts)
    fitted = ends.sum(axis=2)
    # Fits of successive weeks are nested, so their losses are too.
    steps = np.diff(fitted, axis=1, prepend=0)
    spoilt = np.zeros_like(steps)
    some = steps > 0
    spoilt[some] = rng.negative_binomial(steps[some], 1 - fitting_loss) if fitting_loss else 0
    return Simulated(
        used=fitted + spoilt.cumsum(axis=1),
        premature=ends[:, :, 0].mean(axis=0),
        upset=ends[:, :, 1].mean(axis=0),
        unclear=ends[:, :, 2].mean(axis=0),
    )


def _play(positions, upsets, runs, weeks, rng):
    """Count ends by kind: premature, upset, unclear, planned; (runs, weeks, 4)."""
    n, draws = len(positions.age_years), positions.unclear_rate.shape[0]
    draw = rng.integers(draws, size=runs)
    horizon = max(weeks) * WEEK_YEARS
    marks = np.array(weeks) * WEEK_YEARS
    counts = np.zeros((runs, len(weeks), 4))
    every = np.ones(runs, dtype=bool)
    due = np.stack(
        [_end(positions.current, draw, i, positions.age_years[i], every, rng) for i in range(n)],
        axis=1,
    )
    unclear = _exponential(positions.unclear_rate[draw], rng)
    plans = [[w * WEEK_YEARS for w in dates] + [np.inf] for dates in positions.planned_weeks]
    plan_at = np.zeros((runs, n), dtype=int)
    units = list(upsets.units) if upsets else []
    rates = upsets.events_per_year[draw] if upsets else np.zeros((runs, 0))
    upset = _exponential(rates, rng)
    while True:
        planned = np.stack([np.array(plans[i])[plan_at[:, i]] for i in range(n)], axis=1)
        times = np.concatenate([due, unclear, planned, upset], axis=1)
        which, when = times.argmin(axis=1), times.min(axis=1)
        active = when <= horizon
        if not active.any():
            return counts
        for kind, low in enumerate((0, n, 2 * n)):
            for i in range(n):
                hit = active & (which == low + i)
                if not hit.any():
                    continue
                counts[hit, :, (0, 2, 3)[kind]] += when[hit, None] <= marks
                due[hit, i] = when[hit] + _end(positions.following, draw, i, 0.0, hit, rng)
                if kind == 1:
                    unclear[hit, i] = when[hit] + _exponential(
                        positions.unclear_rate[draw[hit], i], rng
                    )
                if kind == 2:
                    plan_at[hit, i] += 1
        for column, unit in enumerate(units):
            hit = active & (which == 3 * n + column)
            if not hit.any():
                continue
            _open(positions, upsets, column, unit, hit, when, draw, due, counts, marks, rng)
            upset[hit, column] = when[hit] + _exponential(rates[hit, column], rng)


def _open(positions, upsets, column, unit, hit, when, draw, due, counts, marks, rng):
    """One upset per run in `hit`: its size, then which of the unit's discs."""
    here = np.flatnonzero(positions.unit == unit)
    size = int(upsets.positions[column])
    opened = 1 + rng.choice(len(upsets.opened), p=upsets.opened, size=int(hit.sum()))
    rank = rng.random((int(hit.sum()), size)).argsort(axis=1).argsort(axis=1)
    struck = rank[:, : here.size] < np.minimum(opened, size)[:, None]
    rows = np.flatnonzero(hit)
    for place, i in enumerate(here):
        run = rows[struck[:, place]]
        counts[run, :, 1] += when[run, None] <= marks
        mask = np.zeros(len(draw), dtype=bool)
        mask[run] = True
        due[run, i] = when[run] + _end(positions.following, draw, i, 0.0, mask, rng)


def _end(law, draw, unit, age, mask, rng):
    """Time to the end of a life that has reached this age, by inversion."""
    rows = draw[mask]

    def pick(values):
        return values[rows, unit if values.shape[1] > 1 else 0]

    location, sigma = pick(law.wear_location), pick(law.wear_sigma)
    log_rate, shape = pick(law.install_log_rate), pick(law.install_shape)
    exponential = rng.exponential(size=(2, rows.size))
    with np.errstate(divide="ignore", over="ignore"):
        spent = np.exp(log_rate + shape * np.log(age)) if age > 0 else 0.0
        early = np.exp((np.log(exponential[0] + spent) - log_rate) / shape)
        wear = np.exp(
            location + sigma * _standard(law.family, exponential[1], location, sigma, age)
        )
    return np.minimum(early, wear) - age


def _standard(family, exponential, location, sigma, age):
    """Standardised log life at which the wear hazard has grown by `exponential`."""
    z = (np.log(age) - location) / sigma if age > 0 else np.full(location.shape, -np.inf)
    if family is Family.LOGLOGISTIC:
        return np.log(np.expm1(exponential + np.logaddexp(0.0, z)))
    assert family in (Family.WEIBULL, Family.EXPONENTIAL)
    return np.log(exponential + np.exp(z))


def _exponential(rates, rng):
    with np.errstate(divide="ignore"):
        return rng.exponential(size=rates.shape) / rates
