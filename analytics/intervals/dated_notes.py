"""What a date adds to the words of a proposal: past its cap, past its age, no outage in time."""

import pandas as pd

from analytics.intervals.decide import Proposal

__all__ = ["date_notes"]


def date_notes(
    frame: pd.DataFrame,
    *,
    own_date: "pd.Series[bool]",
    late: "pd.Series[bool]",
    waits: "pd.Series[bool]",
    assumed: "pd.Series[bool]",
) -> "pd.Series[str]":
    """Put what the calendar says around the notes of the rules.

    Parameters
    ----------
    frame : DataFrame, one row per position
        Needs `note proposal overdue cap_months next_outage risk_until_next_outage`.
    own_date, late, waits, assumed : Series of bool, same index
        No outage serves; past its age today; the next outage still keeps the cap; the install
        date is not on record.

    Returns
    -------
    Series of str, same index
        Notes to print.
    """
    note: pd.Series[str] = frame["note"]
    past_cap = frame["overdue"] & frame["proposal"].notna()
    kept = frame["proposal"].ne(Proposal.SHORTEN.value)
    lead = "Past its cap of " + frame["cap_months"].map("{:.0f}".format) + " months: replace now."
    # Past the cap there is nothing left to ask and no interval to defend.
    note = note.mask(past_cap & kept, lead).mask(past_cap & ~kept, lead + " " + note)
    note = note.mask(late & ~past_cap, "Past this age already. " + note)
    open_date = own_date & ~past_cap
    note = note.mask(open_date & waits, note + " " + _waiting(frame))
    apart = note + " No outage before the cap: it needs one of its own."
    note = note.mask(open_date & ~waits, apart)
    return note.mask(assumed, note + " Install date unknown: the disc is at least this old.")


def _waiting(frame: pd.DataFrame) -> "pd.Series[str]":
    """What waiting for the next outage, within the cap but past the age, would mean."""
    outage = frame["next_outage"].dt.strftime("%Y-%m-%d")
    risk = (100 * frame["risk_until_next_outage"]).map("{:.0f}".format)
    words: pd.Series[str] = (
        "The next outage, " + outage + ", keeps the cap but not this age; until then the disc"
        " fails early with a chance of " + risk + " %."
    )
    asked = frame["proposal"].eq(Proposal.ASK.value)
    return words.mask(~asked, words + " To wait is a question for the responsible engineer.")
