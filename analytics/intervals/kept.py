"""How often is a disc that is due really changed? What past outages say of the plan.

A plan is what a site means to do. Crews pass over some discs that are due, and leave
one in that was fitted since for another reason; a forecast that takes the plan for
certain is too high and too sure of itself.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaln
from scipy.stats import beta

from analytics.intervals.practice import todays_interval
from analytics.lives.build import DAYS_PER_YEAR
from analytics.lives.events import Ending
from analytics.lives.outages import GRACE_DAYS, WINDOW_DAYS, own_rounds

__all__ = ["PlanChances", "past_visits", "plan_chances"]

Array = NDArray[np.float64]

_YOUNG = 0.5
"""Below this part of its interval a disc counts as young."""

_LATE = 1.25

_CHANGED = [Ending.PLANNED.value, Ending.OPPORTUNITY.value]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanChances:
    """Chance that a planned replacement is made, by draw and position.

    Attributes
    ----------
    due : ndarray, shape (n_draws, n)
        When the disc it was planned for is still in. [-]
    young : ndarray, shape (n_draws, n)
        When a younger disc has taken its place. [-]
    """

    due: Array
    young: Array


def past_visits(
    lives: pd.DataFrame, today: pd.DataFrame, turnarounds: pd.DataFrame, *, export: pd.Timestamp
) -> pd.DataFrame:
    """List the discs that met a past outage while due or young, and whether they were changed.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    today : DataFrame, one row per position
        Needs `position_id` and `turnaround_group`.
    turnarounds : DataFrame
        Checked turnarounds table.
    export : Timestamp
        Last day of the log.

    Returns
    -------
    DataFrame
        `outage turnaround_group position_id young changed`. A disc is due by the interval
        its position kept before that outage, so that no disc is judged by what was done
        with it.

    Notes
    -----
    Discs that ended otherwise during the outage are left out. Where a position is changed
    by age, outage or not, a disc a quarter beyond its interval was passed over.
    """
    apart = own_rounds(lives, today, turnarounds)
    found = [_by_age(lives, today[apart])]
    dates = turnarounds.groupby("turnaround_group")["starts_on"]
    for group, starts in dates:
        days = np.sort(starts.unique())
        gap = float(np.median(np.diff(days)) / np.timedelta64(1, "D")) if len(days) > 1 else np.inf
        places = today[today["turnaround_group"].eq(group) & ~apart]
        for k, day in enumerate(days):
            outage = pd.Timestamp(day)
            if outage + pd.Timedelta(days=WINDOW_DAYS) > export or places.empty:
                continue
            after = (days[k + 1] - day) / np.timedelta64(1, "D") if k + 1 < len(days) else gap
            seen = _at(outage, float(after), places, lives)
            found.append(seen.assign(outage=outage, turnaround_group=group))
    columns = ["outage", "turnaround_group", "position_id", "young", "changed"]
    some = [part for part in found if len(part)]
    return pd.concat(some, ignore_index=True)[columns] if some else pd.DataFrame(columns=columns)


def plan_chances(
    visits: pd.DataFrame, today: pd.DataFrame, *, n_draws: int, seed: int
) -> PlanChances | None:
    r"""Estimate the chance that a planned replacement is made.

    .. math::
        p_i \sim \mathrm{Beta}(k_i + s m, \; n_i - k_i + s (1 - m)), \qquad
        m = \frac{k + 1/2}{n + 1}

    Parameters
    ----------
    visits : DataFrame
        As `past_visits` gives.
    today : DataFrame, one row per position
        Needs `position_id`.
    n_draws, seed : int
        Draws of the chances and their seed.

    Returns
    -------
    PlanChances or None
        Position i with k_i of its n_i due discs changed; the fleet, k of n, stands in for s
        discs, the s of most beta-binomial likelihood. Young discs share one chance. None, a
        certain plan, when no disc was ever passed over.
    """
    young, changed = visits["young"].astype(bool), visits["changed"].astype(bool)
    if changed.all():
        return None
    rng = np.random.default_rng(seed)
    due = changed[~young].groupby(visits["position_id"]).agg(["sum", "size"])
    usual = (float(due["sum"].sum()) + 0.5) / (float(due["size"].sum()) + 1)
    weight = _fleet_weight(due["sum"].to_numpy(float), due["size"].to_numpy(float), usual)
    own = due.reindex(today["position_id"]).fillna(0.0)
    made, left = own["sum"].to_numpy(), (own["size"] - own["sum"]).to_numpy()
    each = [
        _draws(k + weight * usual, n + weight * (1 - usual), n_draws, rng)
        for k, n in zip(made, left, strict=True)
    ]
    soon = float(changed[young].sum())
    shared = _draws(soon + 0.5, float(young.sum()) - soon + 0.5, n_draws, rng)
    return PlanChances(
        due=np.stack(each, axis=1), young=np.repeat(shared[:, None], len(today), axis=1)
    )


def _fleet_weight(made: Array, seen: Array, usual: float) -> float:
    """Discs the fleet stands in for: most likely where positions differ as beta laws do."""
    trials = np.geomspace(0.25, 100, 60)[:, None]
    given = betaln(made + trials * usual, seen - made + trials * (1 - usual))
    likely = (given - betaln(trials * usual, trials * (1 - usual))).sum(axis=1)
    return float(trials[int(np.argmax(likely)), 0])


def _by_age(lives: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """Discs of positions changed by age alone that were changed, or passed over."""
    habit = todays_interval(lives, places).set_axis(places["position_id"])
    share = lives["age_years"] / lives["position_id"].map(habit)
    changed = lives["ending"].isin(_CHANGED) & (share >= _YOUNG)
    met = lives[changed | (share > _LATE)]
    return pd.DataFrame(
        {
            "outage": met["ended_on"],
            "turnaround_group": met["turnaround_group"],
            "position_id": met["position_id"],
            "young": False,
            "changed": changed[met.index],
        }
    )


def _at(
    outage: pd.Timestamp, after: float, places: pd.DataFrame, lives: pd.DataFrame
) -> pd.DataFrame:
    """Discs of one group on the eve of one outage: young, due, changed."""
    known = lives[lives["position_id"].isin(places["position_id"])]
    known = known[known["installed_on"] < outage]
    over = known["ended_on"] < outage
    then = known.assign(
        ending=known["ending"].where(over, Ending.IN_SERVICE.value),
        age_years=known["age_years"].where(
            over, (outage - known["installed_on"]).dt.days / DAYS_PER_YEAR
        ),
    )
    habit = todays_interval(then, places).set_axis(places["position_id"])
    fitted = then[~over]
    due = fitted["position_id"].map(habit) * DAYS_PER_YEAR
    age = fitted["age_years"] * DAYS_PER_YEAR
    ended = known.loc[fitted.index]
    within = ended["ended_on"] <= outage + pd.Timedelta(days=WINDOW_DAYS)
    changed = within & ended["ending"].isin(_CHANGED)
    young = age < _YOUNG * due
    at_stake = np.isfinite(due) & (young | (age + after > due + GRACE_DAYS))
    told = at_stake & (changed | ~within | ended["ending"].eq(Ending.IN_SERVICE.value))
    found = pd.DataFrame(
        {
            "position_id": fitted["position_id"],
            "young": young,
            "changed": changed,
        }
    )
    return pd.DataFrame(found.loc[told])


def _draws(made: float, left: float, n_draws: int, rng: np.random.Generator) -> Array:
    """Even quantiles of the posterior, shuffled."""
    return np.asarray(rng.permutation(beta(made, left).ppf((np.arange(n_draws) + 0.5) / n_draws)))
