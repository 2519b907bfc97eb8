"""Where should the pieces of a code lie, and where does the next one belong?"""

from collections.abc import Mapping

import pandas as pd

from analytics.spares.demand import DemandForecast
from analytics.spares.matching import Matching
from analytics.spares.network import Site, place_pieces
from analytics.spares.policy import Terms

__all__ = ["CENTRAL", "best_places"]

CENTRAL = "central"
"""Stands for every store that supplies no position itself."""

_YEAR_WEEKS = 365.25 / 7
_MOST_PIECES = 60


def best_places(
    forecast: DemandForecast,
    spares: pd.DataFrame,
    matching: Matching,
    terms: Mapping[str, Terms],
    *,
    shipping_weeks: float = 1.0,
) -> pd.DataFrame:
    """Lay what is held of each code where it leaves fewest demands waiting.

    Parameters
    ----------
    forecast : DemandForecast
        Demand by group; its unplanned part counts, planned replacements have
        their own kits.
    spares : DataFrame
        The planner's table, for the usable pieces of each store.
    matching : Matching
        What the pieces are good for; those of stores without positions are
        the central ones.
    terms : mapping of str to Terms
        By disc code.
    shipping_weeks : float
        Central store to site. The default is an assumption, no source. [weeks]

    Returns
    -------
    DataFrame
        `disc_code store held best next`: pieces now, pieces where they would
        serve best, and whether one piece more belongs here; codes of two or
        more stores only, the central store first.
    """
    held = spares.set_index(["disc_code", "store"])["usable_stock"]
    central = _central_pieces(matching)
    rows = []
    for code in sorted({group.disc_code for group in forecast.groups}):
        groups = [group for group in forecast.groups if group.disc_code == code]
        here = {group.store: int(held[code, group.store]) for group in groups}
        total = sum(here.values()) + central.get(code, 0)
        if len(groups) < 2 or total > _MOST_PIECES:
            continue
        years = forecast.n_weeks / _YEAR_WEEKS
        sites = [
            Site(
                name=f"site {number}",
                demand=float(group.mean[-1] - group.planned[-1]) / years,
                shipping_years=shipping_weeks / _YEAR_WEEKS,
            )
            for number, group in enumerate(groups)
        ]
        table = place_pieces(sites, terms[code].lead_time_weeks / _YEAR_WEEKS, total + 1)
        best, after = table.iloc[total], table.iloc[total + 1]
        lines = [(CENTRAL, central.get(code, 0), "central")]
        lines += [
            (group.store, here[group.store], site.name)
            for group, site in zip(groups, sites, strict=True)
        ]
        rows += [
            {
                "disc_code": code,
                "store": store,
                "held": now,
                "best": int(best[column]),
                "next": int(after[column]) > int(best[column]),
            }
            for store, now, column in lines
        ]
    return pd.DataFrame(rows, columns=["disc_code", "store", "held", "best", "next"])


def _central_pieces(matching: Matching) -> dict[str, int]:
    """Pieces that fit some position, in stores that supply none, by code."""
    pieces = matching.pieces
    away = ~pieces["store"].isin(matching.by_group["store"]) & (pieces["serves_elsewhere"] > 0)
    counts = pieces[away].groupby("disc_code")["quantity"].sum()
    return {str(code): max(0, int(count)) for code, count in counts.items()}
