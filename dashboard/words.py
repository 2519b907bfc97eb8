"""Numbers as a person would say them."""

import math
from collections.abc import Callable, Iterable
from datetime import date

import pandas as pd

from analytics.estimate import Estimate

__all__ = [
    "and_so_on",
    "count",
    "day",
    "listed",
    "money",
    "number",
    "percent",
    "sentence",
    "within",
]


def number(value: float) -> str:
    """Write a number to the two or three digits that matter.

    Examples
    --------
    >>> number(1234.4), number(57.3), number(3.14159), number(0.0021), number(0.0)
    ('1,234', '57', '3.1', '0.0021', '0')
    """
    if value is None or math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "no limit"
    size = abs(value)
    if size >= 10 or value == round(value):
        return f"{value:,.0f}"
    if size >= 1:
        return f"{value:.1f}"
    return f"{value:.2g}"


def percent(value: float) -> str:
    """Write a share as a percentage.

    Examples
    --------
    >>> percent(0.271), percent(0.004), percent(float("nan"))
    ('27 %', '0.4 %', 'unknown')
    """
    if value is None or math.isnan(value):
        return "unknown"
    whole = 100 * value
    return f"{whole:.1f} %" if 0 < abs(whole) < 1 else f"{whole:.0f} %"


def money(value: float, currency: str) -> str:
    """Write a cost, rounded to three digits.

    Examples
    --------
    >>> money(123_456, "EUR"), money(980.4, "EUR")
    ('123,000 EUR', '980 EUR')
    """
    if value is None or math.isnan(value):
        return "unknown cost"
    if value == 0:
        return f"0 {currency}".strip()
    digits = 2 - math.floor(math.log10(abs(value)))
    return f"{round(value, min(digits, 0)):,.0f} {currency}".strip()


def within(estimate: Estimate, write: Callable[[float], str] = number) -> str:
    """Write an estimate with its limits.

    Examples
    --------
    >>> within(Estimate(estimate=57.0, low=43.2, high=71.0))
    '57 [43 to 71]'
    """
    return f"{write(estimate.estimate)} [{write(estimate.low)} to {write(estimate.high)}]"


def count(size: int, one: str, many: str | None = None) -> str:
    """Write a count with its noun.

    Examples
    --------
    >>> count(1, "disc"), count(2, "disc"), count(0, "entry", "entries"), count(1200, "row")
    ('1 disc', '2 discs', 'no entries', '1,200 rows')
    """
    noun = one if size == 1 else many or f"{one}s"
    return f"{size:,} {noun}" if size else f"no {noun}"


def sentence(text: str) -> str:
    """Begin a remark with a capital, so that it stands as a sentence of its own.

    Examples
    --------
    >>> sentence("overdue order (north)"), sentence("")
    ('Overdue order (north)', '')
    """
    return f"{text[:1].upper()}{text[1:]}"


def day(value: date | pd.Timestamp | None) -> str:
    """Write a day as ISO, blank when there is none.

    Examples
    --------
    >>> day(date(2025, 3, 1)), day(pd.NaT)
    ('2025-03-01', '')
    """
    return "" if value is None or pd.isna(value) else f"{value:%Y-%m-%d}"


def listed(words: Iterable[str]) -> str:
    """Join words as a sentence does.

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    *head, last = list(words) or [""]
    return f"{', '.join(head)} and {last}" if head else last


def and_so_on(words: Iterable[str], *, most: int = 3) -> str:
    """Join the first few words and count the rest.

    Examples
    --------
    >>> and_so_on(["a", "b", "c", "d", "e"])
    'a, b, c and 2 more'
    """
    every = list(words)
    rest = len(every) - most
    return listed(every if rest <= 1 else [*every[:most], f"{rest} more"])
