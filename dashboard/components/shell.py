"""What frames every page: the name, the way about, the filters and the caution."""

import dash_mantine_components as dmc
import pandas as pd
from dash import dcc, html

from dashboard import ids
from dashboard.access.people import Role
from dashboard.components.links import page_link
from dashboard.parts import Parts
from dashboard.reading import AgeUnit, PressureUnit
from dashboard.selection import CHOICES, Selection, to_search
from dashboard.sentences import CAUTION
from dashboard.theme import ENDINGS, MANTINE
from dashboard.words import day

__all__ = ["filters", "frame", "navigation"]


def frame(
    title: str, export_date: object, *, can_log_out: bool = False, role: Role = Role.ADMIN
) -> dmc.MantineProvider:
    """Frame every page; what is inside comes with the address.

    What needs more than the reader's `role` is out of sight; the door refuses it anyway.
    """
    return dmc.MantineProvider(
        [
            dcc.Location(id=ids.URL, refresh="callback-nav"),
            html.A("To the content", href="#content", className="skip"),
            html.Header(
                [
                    html.Div(
                        [
                            html.Strong("discward"),
                            html.Span(f"{title}, logs to {day(export_date)}", className="fleet"),
                        ],
                        className="name",
                    ),
                    html.Nav(id=ids.NAVIGATION, **{"aria-label": "Pages"}),
                    html.A("People", href="/people", className="admins") if can_log_out else None,
                    html.Form(
                        html.Button("Log out", type="submit", className="log-out"),
                        action="/logout",
                        method="post",
                    )
                    if can_log_out
                    else None,
                    dmc.ColorSchemeToggle(
                        lightIcon="☀",
                        darkIcon="☾",
                        color="gray",
                        variant="subtle",
                        attributes={"root": {"aria-label": "Switch between light and dark"}},
                    ),
                ],
                className=f"top role-{role.name.lower()}",
            ),
            html.Aside(id=ids.FILTERS, **{"aria-label": "Filters and units"}),
            html.Main(id="content", children=html.Div(Parts().body(""), id=ids.BODY), tabIndex=-1),
            html.Footer(html.P([html.Strong("Caution. "), CAUTION])),
            dcc.Store(id=ids.TITLE),
        ],
        theme=MANTINE,
        defaultColorScheme="auto",
    )


def navigation(pages: dict[str, str], current: str) -> list[html.A]:
    """Link every page under the same selection, the current one marked."""
    return [
        page_link(
            name,
            path,
            className="here" if path == current else "",
            **({"title": "this page"} if path == current else {}),
        )
        for path, name in pages.items()
    ]


def filters(lives: pd.DataFrame, selection: Selection) -> html.Details:
    """Offer the words that the lives hold as filters, and the units."""
    chosen = sum(len(words) for words in selection.words.values())
    years = sorted(lives["ended_on"].dt.year.dropna().astype(int).astype(str).unique())
    controls = [
        dmc.MultiSelect(
            id=ids.filter_id(column),
            label=label,
            data=_options(lives, column),
            value=list(selection.words.get(column, ())),
            clearable=True,
            searchable=True,
            placeholder="" if selection.words.get(column) else "all",
            size="sm",
        )
        for column, label in CHOICES.items()
    ]
    controls += [
        _single("from", "From year", years, _text(selection.first_year), clearable=True),
        _single("to", "To year", years, _text(selection.last_year), clearable=True),
        _single(
            "pressure",
            "Pressure in",
            [u.value for u in PressureUnit],
            selection.units.pressure.value,
        ),
        _single("age", "Ages in", [u.value for u in AgeUnit], selection.units.age.value),
    ]
    in_force = to_search(selection)
    return html.Details(
        [
            html.Summary(
                ["Filters and units", html.Span(f" ({chosen} in force)") if chosen else ""]
            ),
            html.Div(controls, className="controls"),
            html.P(
                "Filters narrow tables, counts and lists. The life model and its intervals stay"
                " those of the whole fleet.",
                className="note",
            ),
        ],
        open=bool(in_force),
    )


def _options(lives: pd.DataFrame, column: str) -> list[dict[str, str]]:
    words = sorted(lives[column].dropna().astype(str).unique())
    return [{"value": word, "label": _label(column, word)} for word in words]


def _label(column: str, word: str) -> str:
    if column == "ending" and word in ENDINGS:
        return ENDINGS[word].label
    return word.replace("_", " ") if column == "family" else word


def _single(
    name: str, label: str, data: list[str], value: str | None, *, clearable: bool = False
) -> dmc.Select:
    return dmc.Select(
        id=ids.filter_id(name),
        label=label,
        data=data,
        value=value,
        clearable=clearable,
        allowDeselect=clearable,
        placeholder="all" if clearable else "",
        size="sm",
    )


def _text(year: int | None) -> str | None:
    return None if year is None else str(year)
