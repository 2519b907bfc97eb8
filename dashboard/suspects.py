"""What to say of lots under suspicion, in words a storeroom acts on."""

import pandas as pd

from analytics.findings import Findings
from dashboard.words import and_so_on, count, number

__all__ = ["ALARM", "lot_action", "lot_sentences", "suspect_lots"]

ALARM = (
    "Less than one such alarm in ten years falls on a good lot. It is an association: the"
    " maker's certificate and a look at the failed discs decide."
)


def suspect_lots(findings: Findings) -> pd.DataFrame:
    """Give the rows of the lots under suspicion, worst first."""
    lots = findings.lots
    return lots[lots["suspect"].astype(bool)] if len(lots) else lots


def lot_sentences(findings: Findings) -> list[str]:
    """Say of each suspect lot why, what to set aside, where else it sits, what else fits."""
    said = [
        f"Lot {lot['lot']} is suspect: {number(lot['events'])} premature failures where duty and"
        f" fitting explain {number(lot['expected'])}. {lot_action(lot, findings.lot_places)}"
        f" What else could explain it: {lot['what_else']}."
        for _, lot in suspect_lots(findings).iterrows()
    ]
    return [*said, ALARM] if said else []


def lot_action(lot: pd.Series, places: pd.DataFrame) -> str:
    """Say what to set aside of a suspect lot, where else it sits, and what to ask for."""
    own = places[places["lot"].eq(lot["lot"])]
    shelf, fitted = own[own["position_id"].eq("")], own[own["position_id"].ne("")]
    bins = [f"{row.pieces:,} at {row.store} ({row.disc_code})" for row in shelf.itertuples()]
    aside = (
        f"Take {count(int(shelf['pieces'].sum()), 'piece')} of lot {lot['lot']} out of the bins"
        f" today, tag them HOLD and issue none: {and_so_on(bins, most=6)}."
        if len(shelf)
        else f"No piece of lot {lot['lot']} is in stock."
    )
    where = (
        f" It sits at {and_so_on(fitted['position_id'].astype(str), most=6)}: leave those discs"
        " in place and ask the responsible engineer whether to change them early."
        if len(fitted)
        else " No position holds a disc of it."
    )
    return f"{aside}{where} Ask the maker for the lot's certificate and burst tests."
