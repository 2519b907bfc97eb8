"""The manager's page: is it getting better, what does it cost, how good are the records."""

from dash import html

from dashboard.avoided import fitting_sentence
from dashboard.components.blocks import answer, figure, message, section
from dashboard.components.tables import grid, plain
from dashboard.figures.avoided import fitting_figure
from dashboard.figures.fleet import (
    costs_figure,
    cumulative_figure,
    quality_figure,
    records_figure,
    sites_figure,
    trend_figure,
)
from dashboard.fleet_sentences import fleet_answer, sites_answer
from dashboard.losses import avoidable_losses
from dashboard.table_list import TABLES
from dashboard.take import REPORT
from dashboard.view import View

__all__ = ["page"]


def page(view: View) -> html.Div:
    """The answer, the trend with its limits, the money, the worst positions, the records."""
    return html.Div(
        [
            answer(
                "Are premature failures falling, and what do they cost?",
                fleet_answer(view.findings),
                for_whom="For the manager",
            ),
            html.P(
                [
                    "To print or to pass on: ",
                    html.A(
                        "the report for the meeting",
                        href=f"/take/{'.'.join(REPORT)}",
                        download=".".join(REPORT),
                    ),
                    ", one file of the whole fleet.",
                ],
                className="no-print",
            ),
            _trend(view),
            _sites(view),
            _added_up(view),
            _money(view),
            _losses(view),
            _quality(view),
            section(
                "The trend by site as a table",
                grid("trend", view),
                note="What happened at each site, hard duty and easy duty alike.",
            ),
        ]
    )


def _trend(view: View) -> html.Section:
    trend = view.findings.trend
    sites = view.selection.words.get("site")
    shown = trend[trend["site"].isin(sites) if sites else trend["site"] == "all"]
    return section(
        "Premature failures per 100 disc-years",
        figure(
            view,
            trend_figure(shown),
            says="Premature failures per 100 disc-years by year, with 95 % limits.",
            twin=plain("trend", view, shown),
        ),
    )


def _sites(view: View) -> html.Section:
    return section(
        "Which site is worse on equal duty?",
        html.P(sites_answer(view.whole)),
        figure(
            view,
            view.once("sites", lambda: sites_figure(view.whole.sites)),
            says="Premature failures at each site over those the life model expects of its discs'"
            " duty and age, with 95 % limits.",
            twin=plain("sites", view, view.whole.sites),
            of_all=True,
        ),
        note=(
            "1 is what the duty explains, fitted as the whole fleet fits. Drawn towards 1 where"
            " the numbers are small; below five failures no ratio is shown."
        ),
    )


def _added_up(view: View) -> html.Section:
    title = "How failures add up per position"
    chosen = view.selection
    if chosen.words.get("ending") or chosen.first_year or chosen.last_year:
        return section(title, message("Take the filters on ending and years off to see this."))
    table = TABLES["failures-per-position"]
    rows = table.rows(view.findings)
    return section(
        title,
        figure(
            view,
            cumulative_figure(rows),
            says="Mean number of premature failures per position since the log began.",
            twin=plain(table.key, view, rows),
        ),
        note="A straight line is a steady rate; a line that flattens is a fleet that improves.",
    )


def _money(view: View) -> html.Section:
    return section(
        "What it costs",
        figure(
            view,
            costs_figure(view.findings.costs, view.currency),
            says=f"Cost of premature failures and planned replacements by year, {view.currency}.",
            twin=plain("costs", view),
        ),
    )


def _losses(view: View) -> html.Section:
    losses = avoidable_losses(view.findings).head(5)
    return section(
        "Where a better installation would save most",
        plain("avoidable-losses", view, losses)
        if len(losses)
        else message("No failure was owed to installation."),
        note="The five dearest positions: cost on record times the share owed to installation.",
    )


def _quality(view: View) -> html.Section:
    trend, quality = view.findings.trend, view.findings.data_quality
    return section(
        "Is the work getting better, and the records?",
        html.P(fitting_sentence(view.whole)),
        html.Div(
            [
                figure(
                    view,
                    quality_figure(trend[trend["site"] == "all"] if len(trend) else trend),
                    says="Share of recorded install checks that passed, by year.",
                    twin=plain("trend", view, trend[trend["site"] == "all"]),
                ),
                figure(
                    view,
                    view.once("fitting", lambda: fitting_figure(view.whole.fitting)),
                    says="Failures that install defects add to the first year of 100 discs, by"
                    " year of fitting, with 95 % limits.",
                    twin=plain("fitting-quality", view),
                    of_all=True,
                ),
                figure(
                    view,
                    records_figure(quality[quality["year"] >= view.whole.log_begins.year]),
                    says="Share of records that hold each thing the job needs, by year.",
                    twin=plain("data-quality", view),
                ),
            ],
            className="pair",
        ),
    )
