"""Floating days to time spans, with blanks that stay blank."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

__all__ = ["day_spans"]

_NANOSECONDS = 86_400 * 10**9


def day_spans(days: ArrayLike) -> pd.TimedeltaIndex:
    """Turn days into time spans; NaN and infinity give NaT.

    Parameters
    ----------
    days : array_like of float, shape (n,)
        Days, whole or not. [days]

    Returns
    -------
    TimedeltaIndex, length n
        Spans to the nanosecond.

    Notes
    -----
    pandas' own conversion of floats multiplies uninitialised memory where the value is
    NaN, and now and then warns of an overflow there.

    Examples
    --------
    >>> day_spans([1.5, float("nan")]).tolist()
    [Timedelta('1 days 12:00:00'), NaT]
    """
    values = np.atleast_1d(np.asarray(days, dtype=float))
    known = np.isfinite(values)
    spans = np.full(values.shape, np.timedelta64("NaT"), dtype="timedelta64[ns]")
    whole = np.round(values[known] * _NANOSECONDS).astype(np.int64)
    spans[known] = whole.astype("timedelta64[ns]")
    return pd.TimedeltaIndex(spans)
