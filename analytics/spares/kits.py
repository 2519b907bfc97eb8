"""What must lie ready for a turnaround, and when does its list close?"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import nbinom, norm

from analytics.spares.policy import Terms

__all__ = ["Kit", "kit_size", "turnaround_kits"]

_RECEIPT_INSPECTION_WEEKS = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """Discs of one code for one turnaround.

    Attributes
    ----------
    planned : int
        Positions to be fitted. [-]
    reserve : int
        Discs more, against those spoilt on fitting. [-]
    freeze_weeks : float
        Time before the start at which the list closes. [weeks]
    """

    planned: int
    reserve: int
    freeze_weeks: float


def kit_size(planned: int, terms: Terms, *, fitting_loss: float, confidence: float = 0.95) -> Kit:
    """Find the discs that fit a number of positions with the wanted confidence.

    Parameters
    ----------
    planned : int
        Positions to be fitted, >= 0. [-]
    terms : Terms
        Lead time and its spread.
    fitting_loss : float
        Share of discs spoilt on fitting, in [0, 1). [-]
    confidence : float
        Wanted probability that the kit suffices and that an order placed on
        the freeze date is there in time. [-]

    Returns
    -------
    Kit
        Planned discs, reserve, and the freeze date as weeks before the start:
        the lead time at that confidence and two weeks of receipt inspection
        (common practice, no source).

    Examples
    --------
    >>> terms = Terms(unit_price=100.0, lead_time_weeks=10, lead_time_sd_weeks=0)
    >>> kit = kit_size(12, terms, fitting_loss=0.03)
    >>> kit.reserve, kit.freeze_weeks
    (2, 12.0)
    """
    reserve = int(nbinom.ppf(confidence, planned, 1 - fitting_loss)) if planned else 0
    lead = terms.lead_time_weeks + float(norm.ppf(confidence)) * terms.lead_time_sd_weeks
    return Kit(planned=planned, reserve=reserve, freeze_weeks=lead + _RECEIPT_INSPECTION_WEEKS)


def turnaround_kits(
    due: pd.DataFrame,
    terms: dict[str, Terms],
    usable: pd.DataFrame,
    today: pd.Timestamp,
    *,
    fitting_loss: float = 0.03,
) -> pd.DataFrame:
    """List what each turnaround needs from each store, and when the list closes.

    Parameters
    ----------
    due : DataFrame
        One row per planned replacement: `turnaround_group starts_on store disc_code`.
    terms : dict of str to Terms
        By disc code.
    usable : DataFrame
        `store disc_code usable on_order`: pieces to draw on.
    today : Timestamp
        Date of the question.
    fitting_loss : float
        Share of discs spoilt on fitting. [-]

    Returns
    -------
    DataFrame
        `turnaround_group starts_on store disc_code planned reserve needed
        in_hand missing freeze_on days_to_freeze`, soonest first. Pieces in hand
        are given to the soonest turnaround first.
    """
    keys = ["turnaround_group", "starts_on", "store", "disc_code"]
    counts = due.groupby(keys).size().rename("planned").reset_index()
    left = {
        (str(row["store"]), str(row["disc_code"])): int(row["usable"]) + int(row["on_order"])
        for row in usable.to_dict("records")
    }
    rows = []
    for row in counts.sort_values(keys[1:]).to_dict("records"):
        store, code = str(row["store"]), str(row["disc_code"])
        kit = kit_size(int(row["planned"]), terms[code], fitting_loss=fitting_loss)
        needed = kit.planned + kit.reserve
        in_hand = min(needed, left.get((store, code), 0))
        left[store, code] = left.get((store, code), 0) - in_hand
        days = int(np.ceil(7 * kit.freeze_weeks))
        freeze = row["starts_on"] - pd.Timedelta(days=days)
        rows.append(
            {
                "turnaround_group": row["turnaround_group"],
                "starts_on": row["starts_on"],
                "store": store,
                "disc_code": code,
                "planned": kit.planned,
                "reserve": kit.reserve,
                "needed": needed,
                "in_hand": in_hand,
                "missing": needed - in_hand,
                "freeze_on": freeze,
                "days_to_freeze": (freeze - today).days,
            }
        )
    columns = [*keys, "planned", "reserve", "needed", "in_hand", "missing", "freeze_on"]
    return pd.DataFrame(rows, columns=[*columns, "days_to_freeze"])
