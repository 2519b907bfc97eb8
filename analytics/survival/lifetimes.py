"""When did each life end, as far as anybody knows? The data every life model is fitted to."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.errors import InputError

__all__ = ["Lifetimes", "lifetimes"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifetimes:
    """What is known of each life: seen from `entry`, ended in (`lower`, `upper`].

    Build it with `lifetimes`, which checks; the mathematics behind never checks again.

    Attributes
    ----------
    entry : ndarray, shape (n,)
        Age when observation began (left truncation); 0 if seen from new. [time]
    lower : ndarray, shape (n,)
        Age at which the life was last known to go on; 0 when it had ended by the first
        look (left-censored). [time]
    upper : ndarray, shape (n,)
        Age at which it was known to have ended: equal to `lower` when the age is exact,
        inf when it had not ended (right-censored). [time]
    weight : ndarray, shape (n,)
        How many lives a row stands for, >= 0. [-]
    """

    entry: Array
    lower: Array
    upper: Array
    weight: Array

    def __len__(self) -> int:
        return len(self.lower)

    @property
    def ended(self) -> NDArray[np.bool_]:
        """Whether the life ended, exactly known or within an interval; shape (n,)."""
        return np.isfinite(self.upper)

    @property
    def exact(self) -> NDArray[np.bool_]:
        """Whether the age at the end is exactly known; shape (n,)."""
        return np.equal(self.lower, self.upper)

    @property
    def lives(self) -> float:
        """Number of lives, the sum of the weights. [-]"""
        return float(self.weight.sum())

    @property
    def failures(self) -> float:
        """Number of lives that ended, the sum of their weights. [-]"""
        return float(self.weight @ self.ended)


def lifetimes(
    lower: ArrayLike,
    upper: ArrayLike | None = None,
    *,
    entry: ArrayLike = 0.0,
    weight: ArrayLike = 1.0,
) -> Lifetimes:
    """Check life records once and give them in the form every model takes.

    Parameters
    ----------
    lower : array_like, shape (n,)
        Age at which each life was last known to go on, >= 0. [time]
    upper : array_like, shape (n,), optional
        Age at which it was known to have ended, inf when it had not. Without it
        every life is exact. [time]
    entry : array_like, shape (n,) or scalar, default 0
        Age when observation began. [time]
    weight : array_like, shape (n,) or scalar, default 1
        How many lives a row stands for, >= 0, not all 0. [-]

    Returns
    -------
    Lifetimes
        The same numbers, each array of shape (n,).

    Raises
    ------
    InputError
        Names every rule that is broken, how many rows break it and the first of them.

    Examples
    --------
    >>> data = lifetimes([54, 187, 500], [54, 187, np.inf])
    >>> data.lives, data.failures
    (3.0, 2.0)
    >>> lifetimes([5.0], [3.0])
    Traceback (most recent call last):
    analytics.errors.InputError: upper must be >= lower: 1 row, first row 1 (lower 5, upper 3)
    """
    low = _column("lower", lower)
    n = len(low)
    if n == 0:
        raise InputError("lifetimes need at least one row, got none")
    data = Lifetimes(
        entry=_column("entry", entry, n),
        lower=low,
        upper=low if upper is None else _column("upper", upper, n),
        weight=_column("weight", weight, n),
    )
    problems = _problems(data)
    if problems:
        raise InputError("; ".join(problems))
    return data


def _column(name: str, values: ArrayLike, n: int | None = None) -> Array:
    try:
        column = np.array(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} must be numbers; {error}") from None
    if n is not None and column.ndim == 0:
        column = np.full(n, column)
    if column.ndim != 1 or (n is not None and len(column) != n):
        expected = "(n,)" if n is None else f"({n},)"
        raise InputError(f"{name} must have shape {expected}, got {column.shape}")
    return column


def _problems(data: Lifetimes) -> list[str]:
    """Every broken rule, each with its count and its first row."""
    entry, lower, upper, weight = data.entry, data.lower, data.upper, data.weight
    rules = (
        ("entry must be finite and >= 0", ~(np.isfinite(entry) & (entry >= 0)), ("entry",)),
        ("lower must be finite and >= 0", ~(np.isfinite(lower) & (lower >= 0)), ("lower",)),
        ("upper must be > 0 (inf if right-censored), not NaN", ~(upper > 0), ("upper",)),
        ("upper must be >= lower", upper < lower, ("lower", "upper")),
        ("lower must be >= entry", lower < entry, ("entry", "lower")),
        ("upper must be > entry", (upper <= entry) & (upper > 0), ("entry", "upper")),
        ("weight must be finite and >= 0", ~(np.isfinite(weight) & (weight >= 0)), ("weight",)),
    )
    problems = [_tell(data, rule, broken, names) for rule, broken, names in rules if broken.any()]
    if not problems and not weight.any():
        problems.append("at least one weight must be > 0, got all 0")
    return problems


def _tell(data: Lifetimes, rule: str, broken: NDArray[np.bool_], names: tuple[str, ...]) -> str:
    first = int(np.argmax(broken))
    count = int(broken.sum())
    values = ", ".join(f"{name} {getattr(data, name)[first]:g}" for name in names)
    return f"{rule}: {count} row{'s' * (count > 1)}, first row {first + 1} ({values})"
