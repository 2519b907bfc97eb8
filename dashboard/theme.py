"""How discward looks: one colour, mark and dash per meaning, the same on every figure.

Colours keep a contrast of 3:1 or more on both the light and the dark ground, and
no meaning rests on colour alone: a marker shape or a dash always stands beside it.
Text and grid of a figure take their colour from the style sheet, so a figure drawn
once is right in both.
"""

from dataclasses import dataclass

import plotly.graph_objects as go

__all__ = [
    "ENDINGS",
    "FONT",
    "MANTINE",
    "Ink",
    "Look",
    "bare",
    "dress",
    "faint",
]

FONT = "system-ui, 'Segoe UI', 'Liberation Sans', 'DejaVu Sans', sans-serif"

MANTINE = {
    "fontFamily": FONT,
    "defaultRadius": "sm",
    "primaryColor": "tide",
    "primaryShade": {"light": 7, "dark": 4},
    "colors": {
        "tide": [
            "#eef6f8",
            "#d9e9ee",
            "#b3d3dd",
            "#8abccb",
            "#68a8bc",
            "#4f9ab1",
            "#34849d",
            "#226a80",
            "#185567",
            "#0d3f4e",
        ]
    },
}


class Ink:
    """The colours by what they mean."""

    BLUE = "#2a7fb8"
    RUST = "#cf5c14"
    GREEN = "#14936b"
    OCHRE = "#b07a0c"
    PLUM = "#b4649a"
    GREY = "#7d858c"
    RED = "#d0443e"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """How one kind of thing is drawn, and what it is called."""

    label: str
    colour: str
    symbol: str
    pattern: str = ""


ENDINGS = {
    "premature": Look(label="premature", colour=Ink.RUST, symbol="x", pattern="x"),
    "demand": Look(label="real overpressure", colour=Ink.GREEN, symbol="triangle-up", pattern="/"),
    "unclear": Look(label="unclear", colour=Ink.OCHRE, symbol="diamond", pattern="."),
    "planned": Look(label="planned", colour=Ink.BLUE, symbol="square", pattern=""),
    "opportunity": Look(label="opportunity", colour=Ink.BLUE, symbol="square-open", pattern="-"),
    "in_service": Look(label="in service", colour=Ink.GREY, symbol="circle-open", pattern=""),
    "dangerous": Look(label="dangerous", colour=Ink.RED, symbol="star", pattern="+"),
    "wrong_disc": Look(label="wrong disc", colour=Ink.PLUM, symbol="pentagon", pattern="|"),
}
"""Colour, mark and hatching of each kind of ending."""


def faint(colour: str, opacity: float = 0.18) -> str:
    """Give the colour of a band drawn behind a line of this colour.

    Examples
    --------
    >>> faint("#2a7fb8", 0.2)
    'rgba(42,127,184,0.2)'
    """
    red, green, blue = (int(colour[start : start + 2], 16) for start in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity:g})"


def dress(figure: go.Figure, *, x: str, y: str, height: int = 340) -> go.Figure:
    """Give a figure its axes' names, ground, type and legend."""
    figure.update_layout(
        template="none",
        height=height,
        margin={"l": 64, "r": 16, "t": 40, "b": 52},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT, "size": 13, "color": Ink.GREY},
        legend={"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        hovermode="closest",
        hoverlabel={"font": {"family": FONT, "size": 13}},
    )
    grid = {"gridcolor": faint(Ink.GREY, 0.25), "zeroline": False, "automargin": True}
    figure.update_xaxes(
        title_text=x,
        showgrid=False,
        ticks="outside",
        **{key: value for key, value in grid.items() if key != "gridcolor"},
    )
    figure.update_yaxes(title_text=y, **grid)
    return figure


def bare(message: str, *, x: str = "", y: str = "", height: int = 200) -> go.Figure:
    """Draw the figure for nothing to show: its axes and one sentence on why."""
    figure = dress(go.Figure(), x=x, y=y, height=height)
    figure.add_annotation(text=message, showarrow=False, x=0.5, y=0.5, xref="paper", yref="paper")
    figure.update_xaxes(showticklabels=False, ticks="")
    figure.update_yaxes(showticklabels=False, showgrid=False)
    return figure
