"""What would past stock levels have done? The backtest's replay in sentences and short tables."""

import pandas as pd

from dashboard.words import count, money

__all__ = ["late_table", "past_stock_table", "past_stock_words"]

OURS = "discward"

_NAMES = {
    "discs used": "used",
    "not there when needed": "short",
    "there in time, %": "in_time",
    "weeks with a disc missing": "weeks_out",
    "orders": "orders",
    "pieces bought": "bought",
    "ordering": "order_cost",
    "holding": "holding_cost",
    "together": "cost",
}


def _totals(policy: pd.DataFrame) -> pd.DataFrame:
    columns = ["used", "short", "weeks_out", "orders", "bought", "order_cost", "holding_cost"]
    totals = policy.groupby("method", sort=False)[columns].sum()
    share = (1 - totals["short"] / totals["used"].where(totals["used"] > 0)).fillna(1.0)
    return totals.assign(in_time=100 * share, cost=totals["order_cost"] + totals["holding_cost"])


def past_stock_table(policy: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Sum the replay over stores and codes, one row per way to set the levels.

    Parameters
    ----------
    policy : DataFrame
        As from `past_policy`.
    currency : str
        Unit of every cost.

    Returns
    -------
    DataFrame
        `levels from`, then counts, shares and costs under plain names.
    """
    totals = _totals(policy)
    table = pd.DataFrame({title: totals[name] for title, name in _NAMES.items()})
    money_columns = ["ordering", "holding", "together"]
    table[money_columns] = table[money_columns].round(0).astype("int64")
    table["there in time, %"] = table["there in time, %"].round(1)
    named = table.rename(columns={name: f"{name}, {currency}" for name in money_columns})
    return named.rename_axis("levels from").reset_index()


def late_table(policy: pd.DataFrame, most: int = 10) -> pd.DataFrame:
    """List the stores and codes where the forecast's levels would have been short, worst first.

    Parameters
    ----------
    policy : DataFrame
        As from `past_policy`.
    most : int
        Rows at most.

    Returns
    -------
    DataFrame
        `store`, `disc code`, `discs used`, `not there when needed`, `weeks with a disc missing`,
        and what the rolling mean would have been short.
    """
    ours = policy[policy["method"] == OURS].set_index(["store", "disc_code"])
    other = policy[policy["method"] != OURS].set_index(["store", "disc_code"])["short"]
    late = ours[ours["short"] > 0]
    late = late.assign(other=other.reindex(late.index))
    late = late.sort_values(["short", "weeks_out"], ascending=False, kind="stable").head(most)
    wanted = {
        "store": "store",
        "disc_code": "disc code",
        "used": "discs used",
        "short": "not there when needed",
        "weeks_out": "weeks with a disc missing",
        "other": "with a rolling mean",
    }
    return late.reset_index()[list(wanted)].rename(columns=wanted)


def past_stock_words(policy: pd.DataFrame, currency: str) -> list[str]:
    """Say in sentences what the replay showed and what follows from it.

    Parameters
    ----------
    policy : DataFrame
        As from `past_policy`.
    currency : str
        Unit of every cost.

    Returns
    -------
    list of str
        Sentences; empty when nothing was replayed.
    """
    if policy.empty:
        return []
    totals = _totals(policy)
    ours = totals.loc[OURS]
    said = [
        f"With stock levels from these forecasts {_in_time(ours)}, for"
        f" {money(ours['cost'], currency)} of ordering and holding."
    ]
    for method, row in totals.drop(index=OURS).iterrows():
        said.append(
            f"With levels from a {method} {_in_time(row)}, for {money(row['cost'], currency)}."
        )
    late = policy[(policy["method"] == OURS) & (policy["short"] > 0)]
    if len(late):
        said.append(
            f"Short in {count(len(late), 'pair')} of store and disc code, listed below: look at"
            " what came there at once (an outage not in the log, an upset, a bad lot), and hold"
            " more only where it can come again."
        )
    else:
        said.append("No store would have run out of any code: the levels may be followed.")
    return said


def _in_time(row: pd.Series) -> str:
    there, used = int(row["used"] - row["short"]), int(row["used"])
    return (
        f"{there:,} of {used:,} discs ({row['in_time']:.1f} %) would have been there when needed"
        f" and {int(row['short']):,} not"
    )
