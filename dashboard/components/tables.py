"""Tables on a page: a plain one for a few rows, a grid for many."""

from collections.abc import Callable, Mapping
from typing import Any

import dash_ag_grid as dag
import pandas as pd
from dash import html

from dashboard import ids
from dashboard.cells import cell_text
from dashboard.components.blocks import message
from dashboard.components.links import address, file_link, page_link
from dashboard.components.plain_table import PlainTable
from dashboard.table_list import TABLES
from dashboard.tables import LIMITS, WORDS, Column, Kind, TableView, converted, heading, limits_of
from dashboard.view import View
from dashboard.words import count

__all__ = ["grid", "plain", "records", "size_said"]

LONG = 1_500
"""From this many rows on a grid asks the server for what it shows."""

_LINKED = {Kind.POSITION: "position", Kind.CASE: "case"}
_LONG_WORDS = {"reason", "advice", "note", "what", "mend", "raw", "rivals", "about", "inferred"}
_TEXTS = {Kind.TEXT, Kind.CODE_WORD}
_UNBROKEN = {Kind.DAY, Kind.POSITION, Kind.CASE}
_FORMATS = {Kind.MONEY: "',.0f'", Kind.COUNT: "',.0f'"}
_THREE_DIGITS = "Math.abs(params.value) >= 100 ? ',.0f' : ',.3~r'"
_PAGE_WIDTH = 1_080
_THEME = (
    "themeQuartz.withParams({backgroundColor: 'var(--panel)', foregroundColor: 'var(--text)',"
    " headerBackgroundColor: 'var(--panel)', headerTextColor: 'var(--text)',"
    " borderColor: 'var(--line)', accentColor: 'var(--accent)', fontSize: 14, spacing: 6,"
    " oddRowBackgroundColor: 'var(--stripe)', chromeBackgroundColor: 'var(--panel)',"
    " wrapperBorderRadius: 4, fontFamily: 'inherit'})"
)


def plain(
    key: str,
    view: View,
    frame: pd.DataFrame | None = None,
    *,
    only: tuple[str, ...] = (),
    last: Callable[[dict[str, Any]], object] | None = None,
) -> html.Div:
    """Show a short table in full, limits beside their estimate, every row on the page.

    `last` draws a last cell of each row, for what a reader can do with it.
    """
    table = TABLES[key]
    rows = table.rows(view.findings) if frame is None else frame
    if rows.empty:
        return html.Div(message("No rows."))
    columns = [column for column in table.present(rows) if not only or column.key in only]
    values = converted(table, rows, view.units)
    limits = limits_of(table)
    shown = [column for column in columns if column.name not in LIMITS]
    kept = values.to_dict("records")
    head = [
        {"name": heading(column, view.units, view.currency), "side": _side(column)}
        for column in shown
    ]
    body = [[_cell(column, row, limits.get(column.key)) for column in shown] for row in kept]
    return html.Div(
        [
            _with_last(table.title, head, body, [last(row) for row in kept])
            if last
            else PlainTable(caption=table.title, head=head, body=body),
            html.P(_files(table), className="take no-print"),
        ],
        className="scrolled",
        tabIndex=0,
        role="region",
        **{"aria-label": table.title},
    )


def _with_last(
    title: str, head: list[dict[str, str]], body: list[list[Any]], last: list[object]
) -> html.Table:
    """Draw a table whose rows end in something to act on, which wants components."""
    names = [html.Th(each["name"], className=each["side"], scope="col") for each in head]
    rows = [
        html.Tr(
            [
                html.Td(
                    page_link(cell[0], cell[1]) if isinstance(cell, list) else cell,
                    className=each["side"],
                    **{"data-name": each["name"]},
                )
                for each, cell in zip(head, cells, strict=True)
            ]
            + [html.Td(act, className="no-print")]
        )
        for cells, act in zip(body, last, strict=True)
    ]
    names.append(html.Th("Accepted", scope="col", className="no-print"))
    return html.Table([html.Caption(title), html.Thead(html.Tr(names)), html.Tbody(rows)])


def grid(
    key: str,
    view: View,
    frame: pd.DataFrame | None = None,
    *,
    renderers: Mapping[str, str] | None = None,
) -> html.Div:
    """Show a table that sorts and filters; a long one is fetched as it scrolls.

    Nothing that is sent of a long table depends on the filters: a change of them leaves it
    standing, and `assets/links.js` has it fetch its rows anew.

    `renderers` names, by column, what draws its cells in the browser.
    """
    table = TABLES[key]
    rows = table.rows(view.findings) if frame is None else frame
    if rows.empty:
        return html.Div(message("No rows."))
    fetched, renderers = len(rows) > LONG and frame is None, renderers or {}
    source = (
        {"rowModelType": "infinite"}
        if fetched
        else {"rowData": records(converted(table, rows, view.units))}
    )
    return html.Div(
        [
            dag.AgGrid(
                id=ids.table_id(key),
                columnDefs=_filling(
                    [
                        _definition(each, view)
                        | ({"cellRenderer": renderers[each.key]} if each.key in renderers else {})
                        for each in table.present(rows)
                    ]
                ),
                defaultColDef={
                    "sortable": True,
                    "resizable": True,
                    "filter": True,
                    "wrapHeaderText": True,
                    "autoHeaderHeight": True,
                },
                dashGridOptions={
                    "theme": {"function": _THEME},
                    "animateRows": False,
                    "tooltipShowDelay": 300,
                    "enableCellTextSelection": True,
                    **({"cacheBlockSize": 100, "maxBlocksInCache": 20} if fetched else {}),
                    **({} if fetched or len(rows) > 12 else {"domLayout": "autoHeight"}),
                },
                style={"height": "26rem" if fetched or len(rows) > 12 else None, "width": "100%"},
                **source,
            ),
            html.P(
                [
                    html.Span("On the dashboard: ", className="on-paper"),
                    html.Span("" if fetched else size_said(len(rows)), id=ids.size_id(key)),
                    html.Span(_files(table), className="no-print"),
                ],
                className="take",
            ),
        ],
        className="grid",
    )


def size_said(rows: int, of: int | None = None) -> str:
    """Say how many rows a table has, and of how many where it is filtered further.

    Examples
    --------
    >>> size_said(12_345), size_said(3, 12_345)
    ('12,345 rows. ', '3 of 12,345 rows. ')
    """
    return f"{count(rows, 'row')}. " if of in (None, rows) else f"{rows:,} of {of:,} rows. "


def _files(table: TableView) -> list[Any]:
    """Link the table's files for other programs."""
    links = [
        file_link(name, f"/take/{table.key}.{suffix}", **{"aria-label": f"{table.title} as {name}"})
        for name, suffix in (("CSV", "csv"), ("XLSX", "xlsx"))
    ]
    return ["Take away as ", links[0], " or ", links[1]]


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Turn a frame into rows that JSON can carry: ISO days, nothing for the unknown."""
    days = frame.select_dtypes("datetime").columns
    ready = frame.assign(**{name: frame[name].dt.strftime("%Y-%m-%d") for name in days})
    return ready.astype(object).where(ready.notna(), None).to_dict("records")


def _cell(column: Column, row: dict[str, Any], limits: tuple[str, str] | None) -> str | list[str]:
    """Give a cell's text, with the address it opens where it names a position or a case."""
    said = cell_text(column, row, limits)
    if column.kind in _LINKED and said:
        return [said, address(_LINKED[column.kind], said)]
    return said


def _side(column: Column) -> str:
    if column.kind in _UNBROKEN or column.key in ("disc_code", "store", "site"):
        return "unbroken"
    if column.kind in _TEXTS:
        return "words" if column.key in _LONG_WORDS else ""
    return "" if column.kind in WORDS else "numeric"


def _width(column: Column) -> int:
    if column.kind in _TEXTS:
        return 320 if column.key in _LONG_WORDS else 150
    return 124


def _filling(definitions: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Let a few columns share the whole width, so that no blank is left beside them."""
    if sum(each["width"] for each in definitions) >= _PAGE_WIDTH:
        return definitions
    return [each | {"flex": each["width"], "minWidth": each["width"]} for each in definitions]


def _definition(column: Column, view: View) -> dict[str, Any]:
    name = heading(column, view.units, view.currency)
    definition: dict[str, Any] = {
        "field": column.key,
        "headerName": name,
        "headerTooltip": name,
        "minWidth": 96,
        "width": _width(column),
    }
    if column.kind in _LINKED:
        definition |= {
            "cellRenderer": "PageLink",
            "cellRendererParams": {"page": _LINKED[column.kind]},
        }
    elif column.kind in _TEXTS:
        definition |= {"tooltipField": column.key}
    elif column.kind not in WORDS:
        form = _FORMATS.get(column.kind, _THREE_DIGITS)
        definition |= {
            "type": "rightAligned",
            "filter": "agNumberColumnFilter",
            "valueFormatter": {
                "function": f"params.value == null ? '' : d3.format({form})(params.value)"
            },
        }
    return definition
