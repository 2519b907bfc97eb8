"""The filters' controls read back into a selection."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from dashboard.bodies import text_of
from dashboard.selection import Selection, from_search

__all__ = ["from_controls"]


def from_controls(names: Sequence[Any], values: Sequence[Any]) -> Selection:
    """Read controls, each `{"filter": name}` with its value, into a selection.

    Examples
    --------
    >>> from_controls([{"filter": "site"}, {"filter": "to"}], [["North"], "2024"]).last_year
    2024
    """
    pairs: list[tuple[str, str]] = []
    for name, value in zip(names, values, strict=False):
        key = text_of(name.get("filter")) if isinstance(name, dict) else ""
        words = value if isinstance(value, list) else [value]
        pairs += [(key, word) for word in map(text_of, words) if word]
    return from_search(urlencode(pairs))
