"""What happens when the address or a control changes: read, call one function, return."""

from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, no_update

from dashboard import ids
from dashboard.bodies import text_of
from dashboard.callbacks.rows import slice_of
from dashboard.components.shell import filters, navigation
from dashboard.live import Live
from dashboard.pages import intervals, storeroom
from dashboard.pages.listing import Listing
from dashboard.selection import from_search, to_search
from dashboard.selection_form import from_controls
from dashboard.table_list import TABLES

__all__ = ["wire"]


def wire(app: Dash, live: Live, pages: Listing) -> None:
    """Connect the pages to the findings on show."""
    look = live.look

    @app.callback(
        Output(ids.BODY, "children"),
        Output(ids.NAVIGATION, "children"),
        Output(ids.TITLE, "data"),
        Input(ids.URL, "pathname"),
        Input(ids.URL, "search"),
    )
    def show_page(path: Any, search: Any) -> tuple[Any, Any, str]:
        """Show the page of the address and mark it in the way about."""
        here = text_of(path) or "/"
        if pages.is_fresh(here):
            view = look(text_of(search))
            drawn = pages.draw(view, here)
        else:
            view, drawn = live.page(text_of(search), here, pages.draw)
        way = navigation(pages.names, here, view.search)
        return drawn, way, pages.title(here)

    @app.callback(
        Output(ids.FILTERS, "children"),
        Input(ids.URL, "search"),
        State(ids.filter_id(ALL), "value"),
        State(ids.filter_id(ALL), "id"),
    )
    def show_filters(search: Any, values: list[Any], names: list[Any]) -> Any:
        """Set the filters to the address, unless they already say the same."""
        selection = from_search(text_of(search))
        if names and to_search(from_controls(names, values)) == to_search(selection):
            return no_update
        return filters(look("").whole.lives, selection)

    @app.callback(
        Output(ids.URL, "search"),
        Input(ids.filter_id(ALL), "value"),
        State(ids.filter_id(ALL), "id"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def follow_filters(values: list[Any], names: list[Any], search: Any) -> Any:
        """Write the filters into the address, so that reload and link keep them."""
        wanted = to_search(from_controls(names, values))
        return no_update if wanted == to_search(from_search(text_of(search))) else wanted

    @app.callback(
        Output(ids.table_id(MATCH), "getRowsResponse"),
        Input(ids.table_id(MATCH), "getRowsRequest"),
        State(ids.URL, "search"),
        State(ids.table_id(MATCH), "id"),
    )
    def fetch_rows(request: Any, search: Any, name: Any) -> Any:
        """Fetch the rows that a long table shows."""
        key = text_of(name.get("table")) if isinstance(name, dict) else ""
        if not isinstance(request, dict) or key not in TABLES:
            return no_update
        return slice_of(TABLES[key], look(text_of(search)), request)

    @app.callback(
        Output(ids.DEMAND, "children"),
        Input(ids.PICKED_DEMAND, "value"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def show_demand(picked: Any, search: Any) -> Any:
        """Draw demand against stock for the picked store and disc code."""
        return storeroom.demand(look(text_of(search)), text_of(picked))

    @app.callback(
        Output(ids.COST_CURVE, "children"),
        Input(ids.PICKED_POSITION, "value"),
        State(ids.URL, "search"),
        prevent_initial_call=True,
    )
    def show_cost_curve(picked: Any, search: Any) -> Any:
        """Draw the cost curve of the picked position."""
        return intervals.cost_curve(look(text_of(search)), text_of(picked))
