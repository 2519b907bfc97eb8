"""What a policy does per year: discs, premature failures and money, with limits."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analytics.intervals.cost import policies
from analytics.survival.law import LifeLaw

__all__ = ["compare_policies"]

Array = NDArray[np.float64]


def compare_policies(
    law: LifeLaw,
    planned_cost: ArrayLike,
    unplanned_cost: ArrayLike,
    ages_years: dict[str, ArrayLike],
    *,
    demand_rate: ArrayLike = 0.0,
    demand_cost: ArrayLike | None = None,
    baseline: str = "today",
) -> pd.DataFrame:
    """Set policies against each other over all positions, in the long run.

    Parameters
    ----------
    law, planned_cost, unplanned_cost, demand_rate, demand_cost
        As `analytics.intervals.cost.least_cost`.
    ages_years : dict of str to array_like, shape (n_units,)
        Policy name to the replacement age of every position; inf: run to failure. [years]
    baseline : str
        The policy the others are compared with.

    Returns
    -------
    DataFrame
        One row per policy: `policy planned_per_year premature_per_year premature_low
        premature_high discs_per_year cost_per_year cost_low cost_high saving saving_low
        saving_high probability_cheaper`; means over the draws with 95 % limits, savings against
        the baseline draw by draw (NaN for the baseline itself when it is not given).

    Notes
    -----
    Long-run means, all discs renewed as they end; the first years differ with the ages today.
    Upsets open the same number of discs under every policy.
    """
    names = list(ages_years)
    units = np.shape(law.wear_location)[-1]
    asked = np.stack([np.broadcast_to(ages_years[n], (units,)) for n in names])
    seen = policies(
        law, planned_cost, unplanned_cost, asked, demand_rate=demand_rate, demand_cost=demand_cost
    )
    upsets = np.broadcast_to(np.atleast_2d(demand_rate), np.shape(law.wear_location)).sum(axis=1)
    planned, early = seen.planned_per_year.sum(axis=2), seen.premature_per_year.sum(axis=2)
    cost = seen.cost_per_year.sum(axis=2)
    against = cost[names.index(baseline)] if baseline in names else np.full(cost.shape[1], np.nan)
    return pd.DataFrame(
        {
            "policy": names,
            "planned_per_year": planned.mean(axis=1),
            **_limits("premature", early, mean="premature_per_year"),
            "discs_per_year": (planned + early + upsets).mean(axis=1),
            **_limits("cost", cost, mean="cost_per_year"),
            **_limits("saving", against - cost, mean="saving"),
            "probability_cheaper": (cost < against).mean(axis=1),
        }
    )


def _limits(name: str, draws: Array, *, mean: str) -> dict[str, Array]:
    low, high = np.quantile(draws, [0.025, 0.975], axis=1)
    return {mean: draws.mean(axis=1), f"{name}_low": low, f"{name}_high": high}
