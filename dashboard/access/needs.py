"""The role that each route and each callback needs; what is not listed here needs an admin.

A new route or callback is therefore shut until it is entered, and a test walks over both maps.
"""

from typing import Any

from dashboard import ids
from dashboard.access.people import Role

__all__ = ["CALLBACKS", "OPEN", "ROUTES", "needed"]

OPEN = frozenset({"log_in", "enter"})
"""Routes that let people in, so they stand before the door."""

ROUTES: dict[str, Role] = {
    "static": Role.VIEWER,
    "_dash_assets.static": Role.VIEWER,
    "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": Role.VIEWER,
    "/_dash-layout": Role.VIEWER,
    "/_dash-dependencies": Role.VIEWER,
    "/_dash-update-component": Role.VIEWER,  # each callback below has a role of its own
    "/_reload-hash": Role.VIEWER,
    "/_favicon.ico": Role.VIEWER,
    "/": Role.VIEWER,
    "/<path:path>": Role.VIEWER,
    "take": Role.VIEWER,
    "log_out": Role.VIEWER,
    "ask": Role.VIEWER,
    "templates": Role.VIEWER,
    "settle": Role.EDITOR,
    "bring": Role.EDITOR,
    "mapping": Role.EDITOR,
    "run": Role.EDITOR,
    "look_at_row": Role.EDITOR,
    "retry_row": Role.EDITOR,
    "changes": Role.VIEWER,
    "people": Role.ADMIN,
    "revoke": Role.ADMIN,
}
"""By the route's endpoint."""

CALLBACKS: dict[str, Role] = {
    f"..{ids.BODY}.children...{ids.NAVIGATION}.children...{ids.TITLE}.data..": Role.VIEWER,
    f'..{{"part":["ALL"]}}.children...{ids.SHOWN}.data..': Role.VIEWER,
    f"{ids.FILTERS}.children": Role.VIEWER,
    f"{ids.URL}.search": Role.VIEWER,
    '..{"table":["MATCH"]}.getRowsResponse...{"said":"size","table":["MATCH"]}.children..': (
        Role.VIEWER
    ),
    f"{ids.DEMAND}.children": Role.VIEWER,
    f"{ids.COST_CURVE}.children": Role.VIEWER,
    f"..{ids.TAG_PANEL}.children...{ids.STEPS_PANEL}.children...{ids.GAP_PANEL}.children..": (
        Role.VIEWER
    ),
    f"{ids.RECORD_PROBLEMS}.children": Role.VIEWER,
    f"..{ids.RECORD_SAID}.children...{ids.RECORD}.data..": Role.EDITOR,
    f"{ids.ASKED}.children": Role.EDITOR,
    f"{ids.CANCELLED}.children": Role.EDITOR,
    f"{ids.JOBS}.children": Role.VIEWER,
    f"{ids.CHANGES}.children": Role.VIEWER,
    f"{ids.ACCEPTED}.data": Role.EDITOR,
    '{"accepted":["ALL"]}.children': Role.VIEWER,
}
"""By the declared output of each callback that the server runs."""

_CALLBACK_ROUTE = "/_dash-update-component"


def needed(endpoint: str, body: Any) -> Role:
    """Give the role that a request needs.

    Parameters
    ----------
    endpoint : str
        Of the route asked for.
    body : any
        What a callback's request carries; looked at for that route only.

    Examples
    --------
    >>> needed("take", None).name, needed("nobody entered this", None).name
    ('VIEWER', 'ADMIN')
    >>> needed("/_dash-update-component", {"output": "asked.children"}).name
    'EDITOR'
    """
    role = ROUTES.get(endpoint, Role.ADMIN)
    if endpoint != _CALLBACK_ROUTE:
        return role
    output = body.get("output") if isinstance(body, dict) else None
    return CALLBACKS.get(output, Role.ADMIN) if isinstance(output, str) else Role.ADMIN
