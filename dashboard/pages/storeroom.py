"""The storeroom planner's page: what to order this week, and what will be needed."""

from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import dcc, html

from dashboard import ids
from dashboard.accepting import order_key
from dashboard.components.blocks import accepting, answer, figure, message, section
from dashboard.components.set_aside import set_aside
from dashboard.components.tables import grid, plain
from dashboard.figures.demand import demand_figure
from dashboard.past_forecasts import past_sentence
from dashboard.storeroom_sentences import storeroom_answer
from dashboard.suspects import suspect_lots
from dashboard.table_list import TABLES
from dashboard.view import View

__all__ = ["demand", "page"]

_BETWEEN = " · "
_LONGEST = 12


def page(view: View, *, can_accept: bool = False) -> html.Div:
    """The order list on top, then demand against stock, then every store and code."""

    def order(row: dict[str, Any]) -> object:
        key = order_key(row["store"], row["disc_code"])
        return accepting(key, f"{row['disc_code']} for {row['store']}")

    return html.Div(
        [
            answer(
                "What to order this week?",
                storeroom_answer(view.findings),
                for_whom="For the storeroom planner",
            ),
            html.Section(
                [
                    html.H2("Order this week"),
                    plain("order-this-week", view, last=order if can_accept else None),
                    dcc.Store(id=ids.ACCEPTED) if can_accept else None,
                ],
                className="part order",
            ),
            section(
                "Set aside: suspect lots",
                *set_aside(view),
                note="The stock counted on this page still holds these pieces.",
            )
            if len(suspect_lots(view.findings))
            else None,
            _listed(
                view,
                "moves",
                view.findings.moves,
                "Move between stores first",
                "These moves are counted in the orders above: without them more must be ordered.",
            ),
            _demand(view),
            _listed(
                view,
                "kits",
                view.findings.kits[view.findings.kits["missing"] > 0],
                "Missing for the coming outages",
                "Discs due by today's practice, with a reserve for fitting losses; soonest first.",
            ),
            _listed(
                view,
                "dead-stock",
                view.findings.dead_stock,
                "Pieces nobody can take",
                "By code, mark, or date of use; have them looked at before buying more.",
            ),
            _listed(
                view,
                "pooled",
                view.findings.pooled.sort_values("saved", ascending=False),
                "What one shared stock would save",
                "Pieces that cover a lead time; stores taken as independent.",
            ),
            _listed(
                view,
                "budget",
                TABLES["budget"].rows(view.findings).iloc[1:],
                "What the next money buys",
                "The pieces that raise service most for their price, in that order.",
            ),
            _past(view),
            _listed(
                view,
                "stock-remarks",
                view.findings.stock_remarks,
                "What is odd about stock and orders",
                "Nothing was dropped without a word; mend these and read the logs again.",
                most=40,
            ),
            section(
                "Every store and disc code",
                grid("spares", view),
                note=(
                    "Usable stock counts only pieces whose marked pressure fits a position they"
                    " could serve. Demand is for the weeks ahead in the table."
                ),
            ),
        ]
    )


def demand(view: View, picked: str) -> html.Div:
    """Draw demand against stock for one store and disc code, with its table."""
    store, _, code = picked.partition(_BETWEEN)
    weekly = view.findings.demand_weekly
    rows = weekly[(weekly["store"] == store) & (weekly["disc_code"] == code)]
    if rows.empty:
        return html.Div(message("No demand forecast for this store and disc code."))
    return html.Div(
        figure(
            view,
            demand_figure(rows),
            says=f"Running total of demand for {code} at {store}, with usable stock and orders.",
            twin=plain("demand-by-week", view, rows),
            rows=("lives", "store", store, "disc_code", code),
        )
    )


def _demand(view: View) -> html.Section | None:
    pairs = _pairs(view)
    if not pairs:
        return None
    return section(
        "Will the stock last?",
        dmc.Select(
            id=ids.PICKED_DEMAND,
            label="Store and disc code",
            data=pairs,
            value=pairs[0],
            allowDeselect=False,
            searchable=True,
            size="sm",
            maw=320,
        ),
        html.Div(demand(view, pairs[0]), id=ids.DEMAND),
        note="Where the dashed stock line falls below the band, the store runs out.",
    )


def _listed(
    view: View, key: str, rows: pd.DataFrame, title: str, note: str, most: int = _LONGEST
) -> html.Section | None:
    if rows.empty:
        return None
    more = f" The first {most} of {len(rows)}." if len(rows) > most else ""
    return section(title, plain(key, view, rows.head(most)), note=note + more)


def _past(view: View) -> html.Section | None:
    said = past_sentence(view.whole)
    if not said:
        return None
    return section("What came of earlier forecasts?", html.P(said), plain("past-forecasts", view))


def _pairs(view: View) -> list[str]:
    """List store and code pairs with a forecast, those to order first."""
    spares, weekly = view.findings.spares, view.findings.demand_weekly
    if spares.empty or weekly.empty:
        return []
    ordered = spares.sort_values(["order_now", "order_by"], ascending=[False, True])
    known = set(zip(weekly["store"], weekly["disc_code"], strict=True))
    pairs = zip(ordered["store"], ordered["disc_code"], strict=True)
    return [f"{store}{_BETWEEN}{code}" for store, code in pairs if (store, code) in known]
