"""Is a fleet getting better or worse? The findings of `discward trend`."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.histories import Histories, gaps, histories
from analytics.survival.power_law import PowerLaw, fit_power_law, mtbf_limits, shape_limits
from analytics.survival.rate_constant import rate_constant_limits
from analytics.survival.trend_tests import TrendTests, trend_tests

__all__ = ["trend_findings"]

Array = NDArray[np.float64]

LEVELS = (0.80, 0.90, 0.95)


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
    warnings = _add_limits(found, data, fit)
    found |= {name: getattr(tests, name) for name in TrendTests.__slots__}
    found["statement"] = _statement(fit, tests)
    found["warnings"] = warnings + _cautions(data, fit)
    return {name: _or_none(value) for name, value in found.items()}


def _or_none(value: object) -> object:
    """Null for what the data do not give, or no float can hold."""
    return None if isinstance(value, float) and not np.isfinite(value) else value


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


def _add_limits(found: dict[str, object], data: Histories, fit: PowerLaw) -> list[str]:
    """Put the limits at each level under plain names; say what could not be given."""
    warnings: list[str] = []
    for level in LEVELS:
        percent = round(100 * level)
        limits = shape_limits(fit, confidence=level)
        found[f"shape_low_{percent}"], found[f"shape_high_{percent}"] = limits.low, limits.high
        rate = rate_constant_limits(data, fit, confidence=level)
        found[f"rate_constant_low_{percent}"] = rate.low
        found[f"rate_constant_high_{percent}"] = rate.high
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
