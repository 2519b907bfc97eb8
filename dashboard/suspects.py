"""What to say of lots under suspicion, in words a storeroom acts on."""

import pandas as pd

from analytics.findings import Findings
from dashboard.words import and_so_on, count, number

__all__ = ["lot_sentences", "suspect_lots"]

ALARM = (
    "Less than one such alarm in ten years falls on a good lot. It is an association: the maker's"
    " certificate and a look at the failed discs decide."
)


def suspect_lots(findings: Findings) -> pd.DataFrame:
    """Give the rows of the lots under suspicion, worst first."""
    lots = findings.lots
    return lots[lots["suspect"].astype(bool)] if len(lots) else lots


def lot_sentences(findings: Findings) -> list[str]:
    """Say of each suspect lot why, what to set aside, where else it sits, what else fits."""
    lots = suspect_lots(findings)
    said = [_sentence(row, findings.lot_places) for _, row in lots.iterrows()]
    return [*said, ALARM] if said else []


def _sentence(lot: pd.Series, places: pd.DataFrame) -> str:
    own = places[places["lot"].eq(lot["lot"])]
    shelf, fitted = own[own["position_id"].eq("")], own[own["position_id"].ne("")]
    bins = [f"{row.pieces:,} at {row.store} ({row.disc_code})" for row in shelf.itertuples()]
    aside = (
        f"Take {count(int(shelf['pieces'].sum()), 'piece')} out of the bins today, tag them HOLD"
        f" and issue none: {and_so_on(bins, most=6)}."
        if len(shelf)
        else "No piece of it is in stock."
    )
    where = (
        f" It sits at {and_so_on(fitted['position_id'].astype(str), most=6)}: leave those discs"
        " in place and ask the responsible engineer whether to change them early."
        if len(fitted)
        else " No position holds a disc of it."
    )
    return (
        f"Lot {lot['lot']} is suspect: {number(lot['events'])} premature failures where duty and"
        f" fitting explain {number(lot['expected'])}. {aside}{where} Ask the maker for the lot's"
        f" certificate and burst tests. What else could explain it: {lot['what_else']}."
    )
