"""When should each position's disc be replaced, held against cap, outages and today's habit?"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from analytics.days import day_spans
from analytics.intervals.age_replacement import AgeReplacement, age_replacement
from analytics.intervals.cost import policies
from analytics.intervals.dated_notes import date_notes
from analytics.intervals.decide import Case, Decision, Proposal, decide
from analytics.intervals.overdue import DAYS_PER_MONTH, next_outage, outage_before
from analytics.intervals.risk import age_at_risk, premature_probability_from
from analytics.survival.law import LifeLaw

__all__ = ["Proposals", "cost_curves", "pick_units", "propose"]

Array = NDArray[np.float64]

_SHOWN = 0.9
"""Share of draws in which a schedule must cut premature failures before it is called shown."""
_CUT = 0.95
"""It cuts them when at most this share of the failures is left."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposals:
    """What is proposed, and the curves behind it.

    Attributes
    ----------
    intervals : DataFrame
        One row per position: `position_id site disc_code age_months age_low age_high cap_months
        today_age_months replace_on premature_probability cost_per_year cost_today proposal note
        overdue`, then `latest_months turnaround_group disc_age_months cost_low cost_high
        cost_run_to_failure probability_cheaper next_outage risk_until_next_outage`. `age_low` and
        `age_high` are the limits of the least-cost age, cut at the cap, where they hold the age
        shown (else NaN, as without an optimum);
        `today_age_months` is today's interval (inf: run to failure); `overdue` means past the
        cap today.
    replacement : AgeReplacement
        Curves of the positions that could be priced, in the order of `priced`.
    priced : tuple of str
        Their position ids.
    not_priced : dict of str to str
        Position to the reason why not.
    """

    intervals: pd.DataFrame
    replacement: AgeReplacement | None
    priced: tuple[str, ...]
    not_priced: dict[str, str]


def propose(
    today: pd.DataFrame,
    law: LifeLaw,
    practice: pd.DataFrame,
    turnarounds: pd.DataFrame,
    *,
    export_date: date,
    risk_target: ArrayLike | None = None,
    current: LifeLaw | None = None,
) -> Proposals:
    """Propose a replacement age and a date for every position.

    Parameters
    ----------
    today : DataFrame, one row per position
        The positions' own columns with `installed_on`, `age_years` and `age_assumed`, as
        `fitted_today` gives.
    law : LifeLaw, shape (n_draws, n_positions)
        Life of the next disc of each position, in the order of `today`.
    practice : DataFrame, one row per position
        As `todays_practice` gives.
    turnarounds : DataFrame
        Checked turnarounds table; may be empty.
    export_date : date
        Today, as the logs know it.
    risk_target : array_like, shape (n_positions,) or scalar, optional
        Largest chance of a premature failure before the planned replacement. [-]
    current : LifeLaw, optional
        Life of the disc now fitted, for the risk until the next outage; `law` when not given.

    Returns
    -------
    Proposals
        The rows of `today` in their order.

    Notes
    -----
    No cap, no recommendation. No age is past the cap, and none is longer than today's interval:
    a longer one is a question. An age that saves nuisance bursts says nothing about a disc
    that fails to open.
    """
    today, practice = today.reset_index(drop=True), practice.reset_index(drop=True)
    known = practice["planned_cost"].gt(0) & practice["unplanned_cost"].gt(0)
    frame = _blank(today, practice)
    if not known.any():
        return _finish(frame, today, turnarounds, export_date, None, known, current or law)
    rows = np.flatnonzero(known.to_numpy())
    some, habits = pick_units(law, rows), practice.iloc[rows]
    found = age_replacement(
        some, *_money(habits), demand_rate=habits["demand_rate"], demand_cost=habits["demand_cost"]
    )
    target = None if risk_target is None else np.broadcast_to(risk_target, len(today))[rows]
    cases = _cases(found, some, habits, today["cap_interval_months"].to_numpy(float)[rows], target)
    decisions = [decide(case) for case in cases]
    filled = _fill(frame, rows, found, some, habits, decisions)
    return _finish(filled, today, turnarounds, export_date, found, known, current or law)


def cost_curves(proposals: Proposals, position_ids: list[str]) -> dict[str, pd.DataFrame]:
    """Give the cost curve of chosen positions: `age_months cost_per_year low high
    premature_probability`; positions that could not be priced are left out.
    """
    found = proposals.replacement
    column = {name: u for u, name in enumerate(proposals.priced)}
    if found is None:
        return {}
    return {
        name: pd.DataFrame(
            {
                "age_months": found.ages_years * 12,
                "cost_per_year": found.cost[:, column[name]],
                "low": found.cost_low[:, column[name]],
                "high": found.cost_high[:, column[name]],
                "premature_probability": found.premature_probability[:, column[name]],
            }
        )
        for name in position_ids
        if name in column
    }


def pick_units(law: LifeLaw, rows: NDArray[np.intp]) -> LifeLaw:
    """Take some units of a life law, by number; shape (n_draws, n_rows)."""
    names = ("wear_location", "wear_sigma", "install_log_rate", "install_shape")
    full = np.broadcast_arrays(*(getattr(law, name) for name in names))
    return LifeLaw(family=law.family, **{n: f[:, rows] for n, f in zip(names, full, strict=True)})


def _money(practice: pd.DataFrame) -> tuple[Array, Array]:
    return practice["planned_cost"].to_numpy(float), practice["unplanned_cost"].to_numpy(float)


def _cases(
    found: AgeReplacement, law: LifeLaw, practice: pd.DataFrame, caps: Array, target: Array | None
) -> list[Case]:
    rises = _wear_rises(found, law, practice, caps)
    risk = np.full(len(caps), np.inf)
    if target is not None:
        risk = np.quantile(age_at_risk(law, target), 0.5, axis=0)
    return [
        Case(
            best_years=found.recommended_years[u],
            low_years=found.low_years[u],
            high_years=found.high_years[u],
            flat_low_years=found.flat_low_years[u],
            flat_high_years=found.flat_high_years[u],
            risk_years=risk[u],
            cap_months=caps[u],
            today_years=practice["today_years"].iloc[u],
            longest_years=practice["longest_years"].iloc[u],
            wear_rises=bool(rises[u]),
        )
        for u in range(len(caps))
    ]


def _wear_rises(
    found: AgeReplacement, law: LifeLaw, practice: pd.DataFrame, caps: Array
) -> NDArray[np.bool_]:
    """Whether replacing on schedule cuts premature failures in nearly all draws.

    Judged at the least-cost age, or at the cap where there is none: failures per year with a
    schedule against failures per year without.
    """
    at_cap = np.where(caps > 0, caps / 12, 5.0)
    age = np.where(np.isfinite(found.recommended_years), found.recommended_years, at_cap)
    seen = policies(
        law, *_money(practice), np.stack([age, np.full_like(age, np.inf)]),
        demand_rate=practice["demand_rate"],
    )  # fmt: skip
    scheduled, without = seen.premature_per_year
    return np.asarray((scheduled < _CUT * without).mean(axis=0) >= _SHOWN)


def _blank(today: pd.DataFrame, practice: pd.DataFrame) -> pd.DataFrame:
    """Every position with what is known without a price."""
    blank = np.full(len(today), np.nan)
    return pd.DataFrame(
        {
            "position_id": today["position_id"],
            "site": today["site"],
            "disc_code": today["disc_code"],
            **{name: blank.copy() for name in ("age_months", "age_low", "age_high")},
            "cap_months": today["cap_interval_months"].astype(float),
            "today_age_months": practice["today_years"].astype(float) * 12,
            "replace_on": pd.NaT,
            **{n: blank.copy() for n in ("premature_probability", "cost_per_year", "cost_today")},
            "proposal": None,
            "note": "",
            "overdue": False,
            "latest_months": blank.copy(),
            "turnaround_group": today["turnaround_group"],
            "disc_age_months": today["age_years"].astype(float) * 12,
            **{
                n: blank.copy()
                for n in ("cost_low", "cost_high", "cost_run_to_failure", "probability_cheaper")
            },
        }
    )


def _fill(
    frame: pd.DataFrame,
    rows: NDArray[np.intp],
    found: AgeReplacement,
    law: LifeLaw,
    practice: pd.DataFrame,
    decisions: list[Decision],
) -> pd.DataFrame:
    age = np.array([d.age_months for d in decisions])
    habit = practice["today_years"].fillna(np.inf).to_numpy(float)
    asked = np.stack([np.where(np.isnan(age), np.inf, age / 12), habit])
    seen = policies(
        law, *_money(practice), asked,
        demand_rate=practice["demand_rate"], demand_cost=practice["demand_cost"],
    )  # fmt: skip
    low, high = np.quantile(seen.cost_per_year[0], [0.025, 0.975], axis=0)
    recommended = ~np.isnan(age)
    optimum = recommended & np.isfinite(found.recommended_years)
    cap = frame["cap_months"].to_numpy(float)[rows]
    least, most = np.minimum(found.low_years * 12, cap), np.minimum(found.high_years * 12, cap)
    # Where today's practice is kept or asked about, limits of another age would mislead.
    held = optimum & (np.floor(least) <= age) & (age <= most)
    values = {
        "age_months": age,
        "latest_months": np.array([d.latest_months for d in decisions]),
        "age_low": np.where(held, np.minimum(least, age), np.nan),
        "age_high": np.where(held, most, np.nan),
        "premature_probability": _where(recommended, seen.premature_probability[0].mean(axis=0)),
        "cost_per_year": _where(recommended, seen.cost_per_year[0].mean(axis=0)),
        "cost_low": _where(recommended, low),
        "cost_high": _where(recommended, high),
        "cost_today": _where(practice["today_years"].notna(), seen.cost_per_year[1].mean(axis=0)),
        "cost_run_to_failure": found.run_to_failure,
        "probability_cheaper": found.probability_cheaper,
        "proposal": [d.proposal.value if d.proposal else None for d in decisions],
        "note": [d.note for d in decisions],
    }
    filled = pd.DataFrame(values, index=frame.index[rows])
    return frame.assign(**{name: filled[name].reindex(frame.index) for name in values})


def _where(known: ArrayLike, values: Array) -> Array:
    return np.where(np.asarray(known, dtype=bool), values, np.nan)


def _finish(
    frame: pd.DataFrame,
    today: pd.DataFrame,
    turnarounds: pd.DataFrame,
    export_date: date,
    found: AgeReplacement | None,
    known: pd.Series,
    current: LifeLaw,
) -> Proposals:
    """Put dates to the ages and say what is overdue.

    The last outage no later than the age; failing that, the next outage if the rules allow the
    disc to wait for it; failing that, a date of its own.
    """
    now = pd.Timestamp(export_date)
    fitted = now - _spans(frame["disc_age_months"] * DAYS_PER_MONTH)
    due, latest, capped = (
        _after(fitted, frame[name]) for name in ("age_months", "latest_months", "cap_months")
    )
    group = frame["turnaround_group"]
    ahead = next_outage(group, turnarounds, export_date)
    snapped = outage_before(group, turnarounds, export_date, due)
    snapped = snapped.fillna(ahead.where(ahead <= latest))
    late = due < now
    # Past its age: an outage within the rules, or, where nothing is to be shortened, within the
    # cap; else today.
    shorten = frame["proposal"].eq(Proposal.SHORTEN.value)
    caught = ahead.where(late & ~shorten & (ahead <= capped))
    dated = snapped.fillna(caught)
    frame["replace_on"] = dated.fillna(due.where(~late, now)).dt.normalize()
    frame["overdue"] = capped.notna() & (capped < now)
    frame["next_outage"] = ahead
    frame["risk_until_next_outage"] = _risk_ahead(frame, current, ahead, now)
    asked_late = frame["overdue"] & frame["proposal"].eq(Proposal.ASK.value)
    frame["proposal"] = frame["proposal"].mask(asked_late, Proposal.KEEP.value)
    frame["note"] = date_notes(
        frame,
        own_date=due.notna() & dated.isna(),
        late=late,
        waits=ahead <= capped,
        assumed=today["age_assumed"].fillna(False).astype(bool),
    )
    frame.loc[~known, "note"] = "Costs of a planned or an unplanned replacement are not on record."
    missing = frame.loc[~known, ["position_id", "note"]]
    return Proposals(
        intervals=frame,
        replacement=found,
        priced=tuple(frame.loc[known, "position_id"]),
        not_priced=dict(zip(missing["position_id"], missing["note"], strict=True)),
    )


def _spans(days: pd.Series) -> pd.Series:
    return pd.Series(day_spans(days), index=days.index)


def _after(fitted: pd.Series, months: pd.Series) -> pd.Series:
    days: pd.Series = _spans(np.floor(months * DAYS_PER_MONTH))
    dates: pd.Series = fitted + days
    return dates


def _risk_ahead(frame: pd.DataFrame, law: LifeLaw, ahead: pd.Series, now: pd.Timestamp) -> Array:
    """Mean chance that the disc now fitted fails early before the next outage."""
    age = frame["disc_age_months"].to_numpy(float) / 12
    wait = ((ahead - now).dt.days / 365.25).to_numpy(float)
    risk = premature_probability_from(law, age, age + np.nan_to_num(wait)).mean(axis=0)
    return np.where(np.isnan(wait), np.nan, risk)
