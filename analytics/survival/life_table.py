"""What does a plain table of lives say? Reads the table and gives every figure by name."""

import csv
import io
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.errors import InputError, NotEstimable
from analytics.survival.few_failures import fit_with_prior, shape_cases
from analytics.survival.fit import Fit, fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.limits import Limits, limits
from analytics.survival.quantities import life_quantile, parameters

__all__ = ["family_named", "life_findings", "read_life_table"]

_FRACTIONS = {"b1": 0.01, "b5": 0.05, "b10": 0.1, "median": 0.5}
_OPTIONAL = {"entry": 0.0, "weight": 1.0}
_BLANKS = {**_OPTIONAL, "upper": np.inf}
_POSITIVE = {"scale", "shape", "sigma"}
_FEW = 5


def family_named(word: str) -> Family:
    """Give the family of that name.

    Raises
    ------
    InputError
        If there is none such; the message lists those there are.

    Examples
    --------
    >>> family_named("Weibull")
    <Family.WEIBULL: 'weibull'>
    """
    try:
        return Family(word.strip().lower())
    except ValueError:
        known = ", ".join(family.value for family in Family)
        raise InputError(f"family must be one of {known}; got {word!r}") from None


def read_life_table(text: str, covariates: Sequence[str] = ()) -> pd.DataFrame:
    r"""Read the text of a life table, a CSV with one row per life.

    Parameters
    ----------
    text : str
        CSV text. Columns `lower`, `upper` (blank: right-censored; equal to `lower`: exact;
        `lower` 0: left-censored), optionally `entry` (blank: 0) and `weight` (blank: 1),
        and the covariates. Other columns are left alone.
    covariates : sequence of str
        Columns to read as covariates.

    Returns
    -------
    DataFrame
        Those columns as numbers, `upper` inf where blank.

    Raises
    ------
    InputError
        Names every missing column, or the lines that hold no number.

    Examples
    --------
    >>> read_life_table("lower,upper\n54,54\n500,\n")
       entry  lower  upper  weight
    0    0.0   54.0   54.0     1.0
    1    0.0  500.0    inf     1.0
    """
    try:
        rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    except csv.Error as error:
        raise InputError(f"a life table must be comma-separated text; {error}") from None
    while rows and not any(cell.strip() for cell in rows[-1]):
        rows.pop()
    if len(rows) < 2:
        raise InputError("a life table needs a header and at least one row below it")
    header = [cell.strip() for cell in rows[0]]
    _check_header(header, covariates)
    ragged = [line for line, row in enumerate(rows[1:], 2) if len(row) != len(header)]
    if ragged:
        raise InputError(f"each row needs {len(header)} cells; not so: {_lines(ragged)}")
    columns: dict[str, list[float]] = {}
    problems = []
    for name in ("entry", "lower", "upper", "weight", *covariates):
        blank = _BLANKS.get(name)
        if name in header:
            place = header.index(name)
            columns[name], bad = _numbers([row[place] for row in rows[1:]], blank)
            if bad:
                problems.append(f"{name} must be a number: {_lines(bad)}")
        else:
            columns[name] = [float(_OPTIONAL[name])] * (len(rows) - 1)
    if problems:
        raise InputError("; ".join(problems))
    return pd.DataFrame(columns)


def life_findings(
    frame: pd.DataFrame, family: Family, covariates: Sequence[str] = ()
) -> dict[str, object]:
    r"""Fit a table of lives and give every figure under a plain name, ready for JSON.

    Parameters
    ----------
    frame : DataFrame
        Columns `lower`, `upper` (inf or NaN: right-censored), optionally `entry`, `weight`,
        and the covariates, all numbers. [time]
    family : Family
        Family of life.
    covariates : sequence of str
        Columns that enter as effects on log life.

    Returns
    -------
    dict
        `family`, `n`, `events` (sums of weights), `log_likelihood`, `parameters` (each with
        `estimate`, `se`, `wald`, `likelihood_ratio`; positive ones also `se_log`),
        `covariance` (of the parameters, in their order and on their own scale),
        `log_covariance` (the same with the logs of positive parameters), `b10` and
        `quantiles` at the mean covariates `at`, `warnings`. An open limit is None. With
        fewer than five failures `few_failures` gives what an assumed shape would say; when
        they fix no curve, `parameters` is empty and `warnings` says why.

    Raises
    ------
    InputError
        If a column is missing or a row breaks a rule.
    NotEstimable
        If failures are there but fix no curve; the message says why.

    Examples
    --------
    >>> frame = read_life_table("lower,upper\n54,54\n187,187\n216,216\n500,\n")
    >>> found = life_findings(frame, Family.WEIBULL)
    >>> found["events"], round(found["parameters"]["shape"]["estimate"], 2)
    (3, 1.13)
    """
    missing = [name for name in ("lower", "upper", *covariates) if name not in frame.columns]
    if missing:
        raise InputError(f"the table lacks the columns: {', '.join(missing)}")
    data = _lifetimes(frame)
    design = frame[list(covariates)].to_numpy(dtype=float)
    names = tuple(covariates)
    found: dict[str, object] = {
        "family": family.value,
        "n": _whole(data.lives),
        "events": _whole(data.failures),
    }
    try:
        result = fit(data, family, design, names)
    except NotEstimable as refusal:
        if data.failures >= _FEW or names:
            raise
        found |= _nothing_fitted(str(refusal))
    else:
        found |= _figures(result, np.average(design, axis=0, weights=data.weight))
    if data.failures < _FEW and not names:
        found["few_failures"] = _few_failures(data, family)
    return found


def _figures(result: Fit, at: NDArray[np.float64]) -> dict[str, object]:
    """Every figure of a fit, at the mean covariates where it depends on them."""
    quantities = parameters(result)
    told = {quantity.name: limits(result, quantity) for quantity in quantities}
    ages = {
        name: limits(result, life_quantile(result, fraction, at))
        for name, fraction in _FRACTIONS.items()
    }
    slopes = np.array([q.slope(result.coefficients, result.sigma) for q in quantities])
    stretch = np.array([quantity.back_slope for quantity in quantities])
    log_covariance = slopes @ result.covariance @ slopes.T
    return {
        "log_likelihood": result.log_likelihood,
        "parameters": {name: _plain(one, positive=name in _POSITIVE) for name, one in told.items()},
        "covariance": (log_covariance * np.outer(stretch, stretch)).tolist(),
        "log_covariance": log_covariance.tolist(),
        "b10": _plain(ages["b10"], positive=True),
        "quantiles": {name: _plain(age, positive=True) for name, age in ages.items()},
        "at": dict(zip(result.names, at.tolist(), strict=True)),
        "warnings": [*result.warnings, *_open_ends(told | ages)],
    }


def _nothing_fitted(reason: str) -> dict[str, object]:
    return {
        "log_likelihood": None,
        "parameters": {},
        "covariance": [],
        "b10": None,
        "warnings": [reason],
    }


def _few_failures(data: Lifetimes, family: Family) -> dict[str, object]:
    """What can be said if the shape is assumed, or held by a stated prior."""
    told: dict[str, object] = {
        "assumption": "shape 1 / sigma assumed, not estimated; limits 95 %, one-sided when "
        "nothing failed",
        "by_shape": [
            {
                "shape": case.shape,
                "scale": _plain(case.scale, positive=True),
                "b10": _plain(case.b10, positive=True),
            }
            for case in shape_cases(data, family)
        ],
    }
    if data.failures > 0 and family is not Family.EXPONENTIAL:
        held = fit_with_prior(data, family)
        told["with_prior"] = {
            "assumption": held.warnings[-1],
            "parameters": {q.name: _plain(limits(held, q)) for q in parameters(held)},
            "b10": _plain(limits(held, life_quantile(held, 0.1))),
        }
    return told


def _plain(one: Limits, *, positive: bool = False) -> dict[str, object]:
    """Limits as JSON takes them: None for what is open or unknown."""
    plain: dict[str, object] = {
        "estimate": _finite(one.estimate),
        "se": _finite(one.se),
        "wald": [_finite(end) for end in one.wald],
        "likelihood_ratio": [_finite(end) for end in one.likelihood_ratio],
    }
    if positive and one.estimate > 0:
        plain["se_log"] = _finite(one.se / one.estimate)
    return plain


def _open_ends(told: dict[str, Limits]) -> list[str]:
    """A sentence for each likelihood-ratio limit that the data leave open."""
    sentences = []
    for name, one in told.items():
        for side, end in zip(("below", "above"), one.likelihood_ratio, strict=True):
            if end is None:
                sentences.append(f"{name} has no likelihood-ratio limit {side}: the data set none")
    return sentences


def _finite(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)


def _whole(value: float) -> float:
    return int(value) if value == int(value) else value


def _lifetimes(frame: pd.DataFrame) -> Lifetimes:
    upper = frame["upper"].to_numpy(dtype=float)
    rest = {name: frame[name].to_numpy(dtype=float) for name in _OPTIONAL if name in frame.columns}
    return lifetimes(
        frame["lower"].to_numpy(dtype=float), np.where(np.isnan(upper), np.inf, upper), **rest
    )


def _check_header(header: list[str], covariates: Sequence[str]) -> None:
    twice = sorted({name for name in header if header.count(name) > 1})
    if twice:
        raise InputError(f"a life table names each column once; named twice: {', '.join(twice)}")
    taken = sorted(set(covariates) & {"entry", "lower", "upper", "weight"})
    if taken:
        raise InputError(f"a covariate must not be one of the table's own: {', '.join(taken)}")
    missing = [name for name in ("lower", "upper", *covariates) if name not in header]
    if missing:
        raise InputError(
            f"a life table needs the columns {', '.join(missing)}; it has {', '.join(header)}"
        )


def _numbers(cells: list[str], blank: float | None) -> tuple[list[float], list[int]]:
    """Numbers of a column and the lines (header is line 1) that hold none."""
    values, bad = [], []
    for line, cell in enumerate(cells, 2):
        text = cell.strip()
        try:
            value = float(text) if text or blank is None else blank
        except ValueError:
            value = np.nan
        if np.isnan(value) or "_" in text:
            bad.append(line)
        values.append(value)
    return values, bad


def _lines(numbers: list[int]) -> str:
    shown = ", ".join(str(number) for number in numbers[:5])
    more = f" and {len(numbers) - 5} more" if len(numbers) > 5 else ""
    return f"line{'s' * (len(numbers) > 1)} {shown}{more}"
