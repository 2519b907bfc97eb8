"""What happens when the address changes: another page, or the same one under other filters."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, no_update

from dashboard import ids
from dashboard.bodies import text_of
from dashboard.components.shell import navigation
from dashboard.live import Live
from dashboard.pages.listing import Listing
from dashboard.parts import Parts, changes, is_shown, parts_of

__all__ = ["wire_pages"]


def wire_pages(app: Dash, live: Live, pages: Listing) -> None:
    """Connect the address to the pages of the findings on show."""

    def drawn(path: str, search: str) -> Parts:
        if pages.is_fresh(path):
            return parts_of(pages.draw(live.look(search), path))
        return live.page(search, path, pages.draw)

    @app.callback(
        Output(ids.BODY, "children"),
        Output(ids.NAVIGATION, "children"),
        Output(ids.TITLE, "data"),
        Input(ids.URL, "pathname"),
        Input(ids.URL, "search"),
        State(ids.SHOWN, "data"),
    )
    def show_page(path: Any, search: Any, shown: Any) -> tuple[Any, Any, Any]:
        """Show the page of the address and mark it in the way about."""
        here = text_of(path) or "/"
        if is_shown(shown, here):
            return no_update, no_update, no_update
        parts = drawn(here, text_of(search))
        way = navigation(pages.names, here)
        return parts.body(here), way, pages.title(here)

    @app.callback(
        Output(ids.part_id(ALL), "children"),
        Output(ids.SHOWN, "data"),
        Input(ids.URL, "search"),
        State(ids.URL, "pathname"),
        State(ids.SHOWN, "data"),
        prevent_initial_call=True,
    )
    def show_changes(search: Any, path: Any, shown: Any) -> tuple[list[Any], Any]:
        """Put up anew the parts of the page on show that the filters change."""
        here, places = text_of(path) or "/", len(ctx.outputs_list[0])
        if not is_shown(shown, here):
            return [no_update] * places, no_update
        parts = drawn(here, text_of(search))
        return changes(parts, shown, places), parts.shown(here)
