"""How many units must run without failing to show that a disc is good enough?"""

import numpy as np
from scipy.stats import beta, binom

from analytics.errors import InputError

__all__ = [
    "demonstrated_reliability",
    "need_level",
    "need_positive",
    "success_run_units",
    "units_for_life",
]


def success_run_units(reliability: float, *, failures: int = 0, confidence: float = 0.95) -> int:
    """Give the least number of units that shows a reliability with so many failures.

    Parameters
    ----------
    reliability : float
        To be shown, in (0, 1). [-]
    failures : int, default 0
        Failures that may occur. [-]
    confidence : float, default 0.95
        One-sided level. [-]

    Returns
    -------
    int
        Units to test. [-]

    References
    ----------
    .. [1] Success-run theorem, n = ln(1 - C) / ln R; with failures the binomial tail.

    Examples
    --------
    >>> success_run_units(0.9), success_run_units(0.9, failures=1)
    (29, 46)
    """
    need_level(confidence)
    if not 0 < reliability < 1:
        raise InputError(f"reliability must lie in (0, 1), got {reliability!r}")
    if failures < 0:
        raise InputError(f"failures must be >= 0, got {failures!r}")
    low, high = failures, failures + 1
    while binom.cdf(failures, high, 1 - reliability) > 1 - confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if binom.cdf(failures, middle, 1 - reliability) > 1 - confidence:
            low = middle
        else:
            high = middle
    return high


def demonstrated_reliability(units: int, *, failures: int = 0, confidence: float = 0.95) -> float:
    """Give the lower limit of reliability after a test (Clopper-Pearson).

    Parameters
    ----------
    units : int
        Units tested, > failures. [-]
    failures : int, default 0
        Failures seen. [-]
    confidence : float, default 0.95
        One-sided level. [-]

    Returns
    -------
    float
        In (0, 1). [-]

    Examples
    --------
    >>> round(demonstrated_reliability(29), 4)
    0.9019
    """
    need_level(confidence)
    if not 0 <= failures < units:
        raise InputError(f"failures must lie in [0, units), got {failures!r} of {units!r}")
    return float(beta.ppf(1 - confidence, units - failures, failures + 1))


def units_for_life(
    reliability: float, age: float, test_age: float, shape: float, *, confidence: float = 0.95
) -> int:
    """Give the units to run to `test_age` without failure to show a reliability at `age`.

    Parameters
    ----------
    reliability : float
        To be shown at `age`, in (0, 1). [-]
    age, test_age : float
        Same unit, > 0. [time]
    shape : float
        Assumed Weibull shape, > 0. [-]
    confidence : float, default 0.95
        One-sided level. [-]

    Returns
    -------
    int
        Units to test. [-]

    Examples
    --------
    >>> units_for_life(0.9, 1000.0, 500.0, 2.0)
    114
    """
    need_positive(age=age, test_age=test_age, shape=shape)
    if not 0 < reliability < 1:
        raise InputError(f"reliability must lie in (0, 1), got {reliability!r}")
    at_test = float(np.exp(np.log(reliability) * (test_age / age) ** shape))
    return success_run_units(at_test, confidence=confidence)


def need_positive(**values: float) -> None:
    """Refuse a value that is not > 0 and finite, by its name."""
    for name, value in values.items():
        if not (value > 0 and np.isfinite(value)):
            raise InputError(f"{name} must be > 0 and finite, got {value!r}")


def need_level(confidence: float) -> None:
    """Refuse a confidence level outside (0, 1)."""
    if not 0 < confidence < 1:
        raise InputError(f"confidence must lie in (0, 1), got {confidence!r}")
