"""Where installation defects cost most, position by position."""

import pandas as pd

from analytics.findings import Findings

__all__ = ["avoidable_losses"]

_COLUMNS = ["position_id", "site", "failures", "failures_owed", "cost_owed", "advice"]


def avoidable_losses(findings: Findings) -> pd.DataFrame:
    """Add up, per position, what its premature failures owe to installation.

    Returns
    -------
    DataFrame
        `position_id site failures failures_owed cost_owed advice`, dearest first; the
        advice is the one its failures carry most often. The cost is each failure's
        logged cost times the share of it owed to installation; a failure without a
        logged cost adds nothing.
    """
    early = findings.installation
    if early is None or early.failures.empty:
        return pd.DataFrame(columns=_COLUMNS)
    cost = findings.lives.set_index("life_id")["cost"]
    failures = early.failures.assign(
        cost_owed=early.failures["share"] * early.failures["life_id"].map(cost).fillna(0.0)
    )
    owed = (
        failures.groupby(["position_id", "site"])
        .agg(
            failures=("life_id", "size"),
            failures_owed=("share", "sum"),
            cost_owed=("cost_owed", "sum"),
        )
        .join(_commonest(failures))
        .reset_index()
    )
    return owed.sort_values("cost_owed", ascending=False, kind="stable").reset_index(drop=True)


def _commonest(failures: pd.DataFrame) -> pd.Series:
    """Give the advice that each position's failures carry most often, the first by letter."""
    counts = failures.groupby(["position_id", "site", "advice"]).size().rename("times")
    ranked = counts.reset_index().sort_values(["times", "advice"], ascending=[False, True])
    first = ranked.drop_duplicates(["position_id", "site"])
    return first.set_index(["position_id", "site"])["advice"]
