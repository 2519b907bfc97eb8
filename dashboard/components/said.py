"""Sentences in the reader's units: findings speak bar and months, readers choose."""

from typing import Any

from dash.development.base_component import Component

from dashboard.reading import Units

__all__ = ["in_units"]


def in_units(drawn: Any, units: Units) -> Any:
    """Restate every text of a drawn page in the reader's units.

    Tables and figures convert their numbers themselves; this is for the sentences. It
    changes the page it is given and gives it back.
    """
    if units == Units():
        return drawn
    if isinstance(drawn, str):
        return units.said(drawn)
    if isinstance(drawn, list | tuple):
        return [in_units(part, units) for part in drawn]
    if isinstance(drawn, Component) and hasattr(drawn, "children"):
        drawn.children = in_units(drawn.children, units)
    return drawn
