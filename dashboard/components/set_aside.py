"""The block that says which lots to set aside, and where each piece of them is."""

from dash import html

from dashboard.components.blocks import message
from dashboard.components.tables import plain
from dashboard.suspects import lot_sentences
from dashboard.view import View

__all__ = ["set_aside"]


def set_aside(view: View) -> list[html.P | html.Div]:
    """Say which lots are suspect, then list every bin and position that holds one."""
    said = lot_sentences(view.findings)
    if not said:
        return [message("No lot is suspect.")]
    held = len(view.findings.lot_places)
    table = plain("suspect-lots", view) if held else message("Nobody holds a disc of it today.")
    return [*(html.P(sentence) for sentence in said), table]
