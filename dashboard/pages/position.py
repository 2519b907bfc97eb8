"""One position: its discs one after another, its duty, and when to replace."""

import pandas as pd
from dash import html

from analytics.duty.observed import SMALL_CYCLE_SHARE
from dashboard.cells import cell_text
from dashboard.components.blocks import figure, message, section
from dashboard.components.tables import plain
from dashboard.figures.duty import quarters_figure
from dashboard.figures.pressures import operating_pressures, pressures_figure
from dashboard.figures.timeline import timeline_figure
from dashboard.pages.intervals import cost_curve
from dashboard.table_list import TABLES
from dashboard.tables import LIMITS, TableView, converted, heading, limits_of
from dashboard.view import View
from dashboard.words import count, day

__all__ = ["page"]


_WIDE = 40
_KNOWN = ("position_id", "site", "disc_code")


def page(view: View, position: str) -> html.Div:
    """The position's facts, its time line, every life, and its cost curve."""
    whole = view.whole
    lives = whole.lives[whole.lives["position_id"] == position].sort_values("ended_on")
    if lives.empty:
        return html.Div(
            [html.H1(position), message("The logs hold no disc at a position of this name.")]
        )
    last = lives.iloc[-1]
    return html.Div(
        [
            html.Section(
                [
                    html.P(f"Position at {last['site']}", className="for-whom"),
                    html.H1(position),
                    *(html.P(sentence) for sentence in _story(lives)),
                ],
                className="answer",
            ),
            _facts("Duty", view, "duty", whole.duty, position),
            _facts("Replacement", view, "intervals", whole.intervals, position),
            _time_line(view, position, lives),
            _by_quarter(view, position),
            section("What does waiting cost?", cost_curve(view, position))
            if position in whole.interval_curves
            else None,
        ]
    )


def _time_line(view: View, position: str, lives: pd.DataFrame) -> html.Section:
    """Lives with their endings above, the pressures they stood under below, one time axis."""
    lived = operating_pressures(lives)
    drawn = {
        "of_all": True,
        "lives": lives,
        "rows": ("lives", "position_id", position),
        "twin": plain("lives", view, lived.iloc[::-1]),
    }
    return section(
        "Its discs, one after another",
        figure(
            view,
            timeline_figure(lives),
            says=f"Every disc at {position} from fitting to its ending.",
            **drawn,
        ),
        figure(
            view,
            pressures_figure(lived, view.units),
            says=f"What the discs at {position} ran at, the least pressure at which each may"
            " burst, and the peaks logged at their endings.",
            **drawn,
        ),
    )


def _by_quarter(view: View, position: str) -> html.Section | None:
    """The position's duty along its time line; nothing where no pressure was ever seen."""
    quarters, duty = view.whole.duty_quarters, view.whole.duty
    own = quarters[quarters["position_id"] == position]
    if not own["pressure_basis"].eq("history").any():
        return None
    limit = duty.loc[duty["position_id"] == position, "limit"]
    return section(
        "Its duty, quarter by quarter",
        figure(
            view,
            quarters_figure(own, float(limit.iloc[0]) if len(limit) else float("nan")),
            says="The ratio each disc stayed below for 95 % of the quarter.",
            of_all=True,
            lives=view.whole.lives[view.whole.lives["position_id"] == position],
            twin=plain("duty-quarters", view, own.iloc[::-1]),
            rows=("duty-quarters", "position_id", position),
        ),
        note=f"Cycles below {SMALL_CYCLE_SHARE:.0%} of the marked pressure are not counted.",
    )


def _story(lives: pd.DataFrame) -> list[str]:
    last = lives.iloc[-1]
    early = int((lives["ending"] == "premature").sum())
    now = (
        f"The disc in place is {last['disc_code']}, lot {last['lot'] or 'unknown'}, fitted"
        f" {day(last['installed_on']) or 'on an unknown day'}."
        if last["ending"] == "in_service"
        else f"The last disc on record came out on {day(last['ended_on'])}."
    )
    return [
        f"{count(len(lives), 'disc').capitalize()} since {day(lives['installed_on'].min())},"
        f" {count(early, 'premature failure')}.",
        now,
    ]


def _facts(
    title: str, view: View, key: str, frame: pd.DataFrame, position: str
) -> html.Section | None:
    rows = frame[frame["position_id"] == position] if len(frame) else frame
    if rows.empty:
        return None
    table = TABLES[key]
    return section(title, _described(table, rows.head(1), view))


def _described(table: TableView, row: pd.DataFrame, view: View) -> html.Dl:
    columns = [column for column in table.present(row) if column.key not in _KNOWN]
    values = converted(table, row, view.units).to_dict("records")[0]
    limits = limits_of(table)
    return html.Dl(
        [
            html.Div(
                [html.Dt(heading(column, view.units, view.currency)), html.Dd(text)],
                className="wide" if len(text) > _WIDE else "",
            )
            for column in columns
            if column.name not in LIMITS
            and (text := cell_text(column, values, limits.get(column.key)))
        ],
        className="facts",
    )
