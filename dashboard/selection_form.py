"""The filters' controls read back into a selection."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from dashboard.selection import Selection, from_search

__all__ = ["from_controls"]


def from_controls(names: Sequence[dict[str, str]], values: Sequence[Any]) -> Selection:
    """Read controls, each `{"filter": name}` with its value, into a selection.

    Examples
    --------
    >>> from_controls([{"filter": "site"}, {"filter": "to"}], [["North"], "2024"]).last_year
    2024
    """
    pairs: list[tuple[str, str]] = []
    for name, value in zip(names, values, strict=False):
        words = value if isinstance(value, list) else [value]
        pairs += [(str(name.get("filter")), str(word)) for word in words if word not in (None, "")]
    return from_search(urlencode(pairs))
