"""A figure as one component, drawn by `assets/figure.js`.

A page is put up whole when a filter changes. Figures off the screen then wait until what
the reader looks at stands.
"""

import plotly.graph_objects as go
from dash.development.base_component import Component

__all__ = ["DrawnFigure"]


class DrawnFigure(Component):
    """A figure that is drawn at once on the screen, and off it when the browser is idle.

    Parameters
    ----------
    figure : Figure
        What is drawn, under a height of its own.
    """

    _children_props: list[str] = []
    _base_nodes = ["children"]
    _namespace = "discward"
    _type = "Figure"

    def __init__(self, *, figure: go.Figure, **more: object) -> None:
        self._prop_names = ["config", "figure", "height", "id"]
        self._valid_wildcard_attributes: list[str] = []
        self.available_properties = self._prop_names
        self.available_wildcard_properties: list[str] = []
        config = {"displaylogo": False, "displayModeBar": False}
        super().__init__(
            **{"config": config, "figure": figure, "height": figure.layout.height} | more
        )
