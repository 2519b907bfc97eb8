"""The marks that several figures share."""

import pandas as pd
import plotly.graph_objects as go

from dashboard.theme import faint

__all__ = ["band", "limits", "literal", "spans", "spoken"]


def band(
    x: pd.Series, low: pd.Series, high: pd.Series, colour: str, name: str, *, step: bool = False
) -> list[go.Scatter]:
    """Give the two traces of a shaded band."""
    shape = "hv" if step else "linear"
    edge = {"mode": "lines", "line": {"width": 0, "shape": shape}, "hoverinfo": "skip"}
    return [
        go.Scatter(x=x, y=high, showlegend=False, **edge),
        go.Scatter(x=x, y=low, name=name, fill="tonexty", fillcolor=faint(colour), **edge),
    ]


def limits(middle: pd.Series, low: pd.Series, high: pd.Series, colour: str) -> dict[str, object]:
    """Give plotly's error bar from an estimate and its limits."""
    return {
        "type": "data",
        "symmetric": False,
        "array": (high - middle).to_numpy(),
        "arrayminus": (middle - low).to_numpy(),
        "color": colour,
        "thickness": 1.5,
        "width": 4,
    }


def literal(text: object) -> str:
    """Give a logged text so that a figure shows it word for word, never as markup.

    Examples
    --------
    >>> literal("<b>P_1</b>")
    '&lt;b>P_1&lt;/b>'
    """
    return str(text).replace("&", "&amp;").replace("<", "&lt;")


def spoken(text: object) -> str:
    """Give a code word as a figure says it.

    Examples
    --------
    >>> spoken("reverse_knife")
    'reverse knife'
    """
    return literal(text).replace("_", " ")


def spans(start: pd.Series, end: pd.Series) -> list[object]:
    """Lay out start, end and a gap per row, so that one trace draws many lines."""
    return [value for pair in zip(start, end, strict=True) for value in (*pair, None)]
