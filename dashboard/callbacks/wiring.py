"""What happens when a filter or a control changes: read, call one function, return."""

from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, no_update

from dashboard import ids
from dashboard.bodies import text_of
from dashboard.callbacks.rows import slice_of
from dashboard.components.shell import filters
from dashboard.components.tables import size_said
from dashboard.live import Live
from dashboard.pages import intervals, storeroom
from dashboard.selection import from_search, to_search
from dashboard.selection_form import from_controls
from dashboard.table_list import TABLES

__all__ = ["wire"]


def wire(app: Dash, live: Live) -> None:
    """Connect filters, long tables and pickers to the findings on show."""
    look = live.look

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
        if len(ctx.triggered_prop_ids) != 1:
            # Controls put up anew, to an address that the reader may have left: nobody chose.
            return no_update
        wanted = to_search(from_controls(names, values))
        return no_update if wanted == to_search(from_search(text_of(search))) else wanted

    @app.callback(
        Output(ids.table_id(MATCH), "getRowsResponse"),
        Output(ids.size_id(MATCH), "children"),
        Input(ids.table_id(MATCH), "getRowsRequest"),
        State(ids.URL, "search"),
        State(ids.table_id(MATCH), "id"),
        prevent_initial_call=True,
    )
    def fetch_rows(request: Any, search: Any, name: Any) -> Any:
        """Fetch the rows that a long table shows, and say how many there are."""
        key = text_of(name.get("table")) if isinstance(name, dict) else ""
        if not isinstance(request, dict) or key not in TABLES:
            return no_update, no_update
        view = look(text_of(search))
        rows = slice_of(TABLES[key], view, request)
        return rows, size_said(rows["rowCount"], len(TABLES[key].rows(view.findings)))

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
