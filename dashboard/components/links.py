"""Links inside the dashboard. The browser adds the filters in force: `assets/links.js`.

No address on a page holds the filters, so a part that they leave as it is need not be sent
again for its links' sake.
"""

from typing import Any
from urllib.parse import quote

from dash import html

__all__ = ["address", "file_link", "page_link"]


def address(*parts: str) -> str:
    """Give the address of a page, whatever its parts hold.

    Examples
    --------
    >>> address("position", "V-101 a/b")
    '/position/V-101%20a%2Fb'
    """
    return "/" + "/".join(quote(part, safe="") for part in parts)


def page_link(said: str, to: str, *, of_all: bool = False, **more: Any) -> html.A:
    """Link a page of the dashboard under the filters in force; `of_all` lifts them."""
    filters = {"data-filters": "lifted" if of_all else "kept"}
    return html.A(said, href=to, **more, **filters)


def file_link(said: str, to: str, **more: Any) -> html.A:
    """Link a file of what the filters in force keep."""
    name = to.rpartition("/")[2]
    return html.A(said, href=to, download=name, **more, **{"data-filters": "kept"})
