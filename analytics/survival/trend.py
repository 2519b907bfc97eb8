"""Is a fleet getting better or worse? Tests for trend and the findings of `discward trend`."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import chi2, kendalltau, norm

from analytics.errors import InputError, NotEstimable
from analytics.survival.histories import Histories, gaps, histories
from analytics.survival.power_law import PowerLaw, fit_power_law, mtbf_limits, shape_limits

__all__ = [
    "TrendTests",
    "cramer_von_mises_p_value",
    "trend_findings",
    "trend_tests",
]

Array = NDArray[np.float64]

LEVELS = (0.80, 0.90, 0.95)
SIMULATED = 20_000
LARGEST_SIMULATED = 200
LARGEST_EXACT = 250


@dataclass(frozen=True, slots=True, kw_only=True)
class TrendTests:
    """Tests of "no trend" on the events of one or more systems.

    Attributes
    ----------
    laplace, laplace_p_value : float
        Laplace statistic, standard normal without trend, below 0 when events thin out;
        two-sided p-value. [-]
    chi_square, chi_square_degrees_of_freedom, chi_square_p_value : float
        Chi-square statistic 2 S of MIL-HDBK-189, large when events thin out; two-sided
        p-value. [-]
    cramer_von_mises, cramer_von_mises_p_value : float
        Misfit of the power law itself, and the probability of a larger one if it holds;
        NaN below three counted events. [-]
    reverse_arrangements : float
        Pairs of gaps of one system of which the later is longer. [-]
    reverse_arrangement_z, reverse_arrangement_p_value : float
        As NIST standardises them; two-sided p-value, exact up to 250 gaps. [-]
    """

    laplace: float
    laplace_p_value: float
    chi_square: float
    chi_square_degrees_of_freedom: float
    chi_square_p_value: float
    cramer_von_mises: float
    cramer_von_mises_p_value: float
    reverse_arrangements: float
    reverse_arrangement_z: float
    reverse_arrangement_p_value: float


def trend_tests(data: Histories) -> TrendTests:
    r"""Test the events of one or more systems for trend.

    .. math::
        U = \frac{\sum t_i - \sum_q M_q T_q / 2}{\sqrt{\sum_q M_q T_q^2 / 12}}, \quad
        \chi^2_{2M} = 2 \sum \log (T_q / t_i)

    Parameters
    ----------
    data : Histories
        Event times and ends.

    Returns
    -------
    TrendTests
        Statistics and p-values.

    Raises
    ------
    NotEstimable
        If no event has a free time.

    Notes
    -----
    The event that closed a watch is no free time and does not enter Laplace's test.
    Equal gaps count as no reversal.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4 (all but Cramer-von Mises).
    .. [2] MIL-HDBK-189C (Cramer-von Mises; formula from memory).
    """
    fit = fit_power_law(data)
    free = data.counted
    end = data.end[data.system[free]]
    laplace = float((data.time[free] - end / 2).sum() / np.sqrt((end**2).sum() / 12))
    degrees = 2 * fit.counted_events
    chi_square = 2 * fit.log_sum
    misfit = float(_cramer_von_mises(np.sort(data.share[free]), fit.shape_unbiased))
    arrangements = _reverse_arrangements(gaps(data))
    return TrendTests(
        laplace=laplace,
        laplace_p_value=float(2 * norm.sf(abs(laplace))),
        chi_square=chi_square,
        chi_square_degrees_of_freedom=float(degrees),
        chi_square_p_value=_two_sided(chi2.cdf(chi_square, degrees), chi2.sf(chi_square, degrees)),
        cramer_von_mises=misfit,
        cramer_von_mises_p_value=cramer_von_mises_p_value(misfit, fit.counted_events),
        reverse_arrangements=arrangements[0],
        reverse_arrangement_z=arrangements[1],
        reverse_arrangement_p_value=arrangements[2],
    )


def cramer_von_mises_p_value(statistic: float, counted_events: int) -> float:
    """Give the probability of a larger misfit if the power law holds.

    The statistic's distribution depends on the number of events alone; it is drawn with
    a fixed seed, so the answer is the same every time.

    Parameters
    ----------
    statistic : float
        Cramer-von Mises statistic with the unbiased shape. [-]
    counted_events : int
        Events with a free time, M. [-]

    Returns
    -------
    float
        Probability, to about 0.003; NaN below three events. [-]
    """
    if counted_events < 3:
        return float("nan")
    # Beyond 200 events the distribution no longer changes noticeably.
    drawn = _misfits_under_the_law(min(counted_events, LARGEST_SIMULATED))
    larger = SIMULATED - int(np.searchsorted(drawn, statistic))
    return (1 + larger) / (1 + SIMULATED)


def trend_findings(events: pd.DataFrame, end: float | None = None) -> dict[str, object]:
    """Answer whether events come faster or slower, as plain names and numbers.

    Parameters
    ----------
    events : DataFrame
        Column `time`, > 0, and for several systems `system`. A system named with a blank
        time was watched without an event. An optional column `end` gives each system its
        own end. [time]
    end : float, optional
        Time to which every system was watched. Without it, or if the last event lies
        exactly on it, a system was watched until its last event. [time]

    Returns
    -------
    dict
        `shape`, `rate_constant`, `laplace`, `chi_square`, limits such as `shape_low_90`,
        and the rest of `PowerLaw` and `TrendTests`; None where the data give no answer, why
        in `warnings`.

    Raises
    ------
    InputError
        If the columns are missing or a time is not usable.
    NotEstimable
        If no event lies before the end.

    Examples
    --------
    >>> found = trend_findings(pd.DataFrame({"time": [5.0, 40, 43, 175, 389]}), 1000.0)
    >>> round(found["shape"], 4), round(found["laplace"], 4)
    (0.3484, -2.8629)
    """
    data = _histories_of(events, end)
    fit, tests = fit_power_law(data), trend_tests(data)
    found: dict[str, object] = {
        "events": fit.events,
        "systems": int(data.end.size),
        "counted_events": fit.counted_events,
        "end": fit.end,
        "closed_by_event": fit.closed_by_event,
        "shape": fit.shape,
        "rate_constant": fit.rate_constant,
        "shape_unbiased": fit.shape_unbiased,
        "rate_constant_unbiased": fit.rate_constant_unbiased,
        "log_likelihood": fit.log_likelihood,
        "rate_at_end": 1 / fit.mtbf,
        "mtbf_at_end": fit.mtbf,
        "mtbf_at_end_unbiased": fit.mtbf_unbiased,
    }
    warnings = _add_limits(found, fit)
    found |= {name: getattr(tests, name) for name in TrendTests.__slots__}
    found["statement"] = _statement(fit, tests)
    found["warnings"] = warnings + _cautions(data, fit)
    return {name: None if value != value else value for name, value in found.items()}


def _histories_of(events: pd.DataFrame, end: float | None) -> Histories:
    if end is not None and not (np.isfinite(end) and end > 0):
        raise InputError(f"end must be finite and > 0, got {end!r}")
    if "time" not in events.columns:
        raise InputError(f"events need a column `time`, got {', '.join(map(str, events.columns))}")
    if events.empty:
        raise InputError("events need at least one row, got none")
    times = _numbers(events["time"])
    if "system" not in events.columns:
        return histories(times, end=end)
    codes, names = pd.factorize(events["system"])
    if (codes < 0).any():
        raise InputError("system must not be blank")
    ends = np.full(len(names), np.nan if end is None else end)
    if "end" in events.columns:
        own = pd.Series(_numbers(events["end"])).groupby(codes)
        if (own.nunique() > 1).any():
            raise InputError("end must be the same in every row of one system")
        given = own.first().to_numpy(dtype=float)
        ends = np.where(np.isnan(given), ends, given)
    seen = ~np.isnan(times)
    return histories(times[seen], system=codes[seen], end=ends, n_systems=len(names))


def _numbers(column: pd.Series) -> Array:
    """Numbers of a column, NaN where blank; a word that is no number is refused."""
    numbers = pd.to_numeric(column, errors="coerce")
    wrong = numbers.isna() & column.notna()
    if wrong.any():
        raise InputError(f"{column.name} must hold numbers, got {column[wrong].iloc[0]!r}")
    return np.asarray(numbers, dtype=float)


def _add_limits(found: dict[str, object], fit: PowerLaw) -> list[str]:
    """Put the limits at each level under plain names; say what could not be given."""
    warnings: list[str] = []
    for level in LEVELS:
        percent = round(100 * level)
        limits = shape_limits(fit, confidence=level)
        found[f"shape_low_{percent}"], found[f"shape_high_{percent}"] = limits.low, limits.high
        try:
            mtbf = mtbf_limits(fit, confidence=level)
        except NotEstimable as reason:
            warnings = [f"no limits for the time between failures: {reason}"]
            low = high = float("nan")
        else:
            low, high = mtbf.low, mtbf.high if np.isfinite(mtbf.high) else float("nan")
        found[f"mtbf_at_end_low_{percent}"], found[f"mtbf_at_end_high_{percent}"] = low, high
    return warnings


def _cautions(data: Histories, fit: PowerLaw) -> list[str]:
    cautions = []
    if fit.counted_events < 5:
        cautions.append(
            f"only {fit.counted_events} events before the end: the tests can hardly see a trend"
        )
    if any(np.any(part == 0) for part in gaps(data)):
        cautions.append("some events of one system fall together; they are counted as they stand")
    if data.closed_by_event.any():
        count = int(data.closed_by_event.sum())
        cautions.append(
            f"{count} of {data.end.size} systems were taken as watched until their last event, "
            "which then says nothing about the rate behind it"
        )
    return cautions


def _statement(fit: PowerLaw, tests: TrendTests) -> str:
    """Say in a sentence what the shape and its limits mean."""
    limits = shape_limits(fit)
    numbers = f"shape {fit.shape:.3g} (95 % limits {limits.low:.3g} to {limits.high:.3g})"
    if limits.low > 1:
        verdict = "Events come faster as time goes on"
    elif limits.high < 1:
        verdict = "Events come slower as time goes on"
    else:
        verdict = "No trend is shown; a steady rate fits"
    if tests.cramer_von_mises_p_value < 0.05:
        numbers += "; the power law itself fits badly"
    return f"{verdict}: {numbers}."


def _cramer_von_mises(shares: Array, shape: float | Array) -> Array:
    """Misfit along the last axis: 1 / 12M + sum (share^shape - (2i - 1) / 2M)^2."""
    count = shares.shape[-1]
    middle = (2 * np.arange(1, count + 1) - 1) / (2 * count)
    return np.asarray(1 / (12 * count) + ((shares**shape - middle) ** 2).sum(axis=-1))


@lru_cache(maxsize=32)
def _misfits_under_the_law(count: int) -> Array:
    """Draw the statistic for a number of events, ascending."""
    shares = np.sort(np.random.default_rng(61164).random((SIMULATED, count)), axis=1)
    shape = (count - 1) / -np.log(shares).sum(axis=1, keepdims=True)
    return np.sort(_cramer_von_mises(shares, shape))


def _reverse_arrangements(gap_lists: list[Array]) -> tuple[float, float, float]:
    """Count, NIST's z and the two-sided p-value, summed over systems."""
    sizes = np.array([part.size for part in gap_lists], dtype=float)
    count = float(sum(_longer_later(part) for part in gap_lists))
    mean = (sizes * (sizes - 1) / 4).sum()
    variance = ((2 * sizes + 5) * (sizes - 1) * sizes / 72).sum()
    if variance <= 0:
        return count, float("nan"), float("nan")
    z = float((count - mean + 0.5) / np.sqrt(variance))
    if sizes.sum() > LARGEST_EXACT:
        return count, z, float(2 * norm.sf(abs(count - mean) / np.sqrt(variance)))
    law = np.ones(1)
    for size in sizes.astype(int):
        for factor in range(2, size + 1):
            law = np.convolve(law, np.full(factor, 1 / factor))
    return count, z, _two_sided(law[: int(count) + 1].sum(), law[int(count) :].sum())


def _longer_later(part: Array) -> int:
    """Count pairs of which the later is longer, from Kendall's tau-b in n log n steps."""
    # Gaps are differences of times: what differs by rounding alone is equal.
    gap = np.round(part / (1e-12 * part.sum())) if part.size else part
    ties = np.unique(gap, return_counts=True)[1].astype(float)
    pairs = part.size * (part.size - 1) / 2
    unequal = pairs - (ties * (ties - 1) / 2).sum()
    if unequal == 0:
        return 0
    tau = kendalltau(np.arange(gap.size), gap, method="asymptotic").statistic
    return int(round((unequal + float(tau) * np.sqrt(pairs * unequal)) / 2))


def _two_sided(below: float, above: float) -> float:
    return float(min(1.0, 2 * min(below, above)))
