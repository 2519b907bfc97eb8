r"""Did an improvement programme change the installation, and by how much?

A programme is begun where things were worst, and the worst of many is in part bad luck, which
would have passed by itself. So the level before is drawn towards the other groups' by their own
spread, the groups' levels being Gamma distributed and the spread integrated over its posterior:
what is then left of the difference is not owed to the choice. Fittings outside the programme, over
the same days, tell what would have changed anyway.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import gammaln

from analytics.early.usual_fitting import Usual, levels, shares
from analytics.early.watched_records import FoundDefects
from analytics.estimate import Estimate, from_draws
from analytics.logs.settings import Programme

__all__ = ["Tally", "before_and_after", "change_of_rate"]

_DRAWS = 4000
_FEWEST = 5.0
_SPREADS = np.geomspace(0.5, 500.0, 40)
"""Gamma shapes of the groups' levels, from wide apart to all alike, equally likely in their log."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """What each group saw and could expect before and after a day.

    Attributes
    ----------
    label : ndarray of str, shape (g,)
        Groups.
    inside : ndarray of bool, shape (g,)
        Which took part in the programme.
    before, after : ndarray, shape (2, g)
        Observed and expected. [events]
    speaks : float
        What one event tells, against a single one that is told for certain. [-]
    """

    label: NDArray[np.object_]
    inside: NDArray[np.bool_]
    before: Array
    after: Array
    speaks: float = 1.0


def before_and_after(
    usual: Usual, found: FoundDefects | None, programmes: Sequence[Programme]
) -> pd.DataFrame:
    """Estimate what each programme changed, in failures and in defects found.

    Parameters
    ----------
    usual : Usual
        Lives held against the fleet's usual fitting.
    found : FoundDefects or None
        Defects found at each fitting.
    programmes : sequence of Programme
        As `logs.toml` declares them.

    Returns
    -------
    DataFrame
        The `programmes` frame of findings: per programme one row for `failures`, by discs fitted
        before and since, each counting by the installation's share of its hazard, and one for
        `records`, by defects found of checks recorded. `change` is the rate since over the rate
        before, drawn to the others; `rest` the same of all outside, `net` the one over the other.
    """
    rows = []
    for programme in programmes:
        tallies = {"failures": _failures(usual, programme)}
        if found is not None:
            tallies["records"] = _records(found, programme)
        for measure, tally in tallies.items():
            rows.append(
                {
                    "programme": programme.name,
                    "starts_on": pd.Timestamp(programme.starts_on),
                    "measure": measure,
                    **_row(tally),
                }
            )
    return pd.DataFrame(rows)


def change_of_rate(tally: Tally, seed: int = 0) -> tuple[Array, Array | None]:
    r"""Draw the change of rate inside the programme, and outside it.

    With O events against E expected before, groups g draw their levels from
    :math:`\theta_g \sim \mathrm{Gamma}(\alpha, \alpha / \mu)`, so that
    :math:`\theta_g \mid O \sim \mathrm{Gamma}(\alpha + O_g, \alpha / \mu + E_g)`, and since then
    :math:`\sum_g O'_g \sim \mathrm{Poisson}(\delta \sum_g \theta_g E'_g)` with
    :math:`\delta` as good as unknown.

    Parameters
    ----------
    tally : Tally
        Before and after, at least one group inside with something expected before and after.
    seed : int, default 0
        Seed of the draws.

    Returns
    -------
    inside, outside : ndarray, shape (4000,)
        Draws of the ratio of rates; `outside` is None with fewer than five events outside before
        or after. [-]
    """
    rng = np.random.default_rng(seed)
    observed, expected = tally.speaks * tally.before
    usual = observed.sum() / expected.sum()
    weight = np.array([_evidence(alpha, observed, expected, usual) for alpha in _SPREADS])
    weight = np.exp(weight - weight.max())
    alpha = rng.choice(_SPREADS, _DRAWS, p=weight / weight.sum())[:, None]
    level = rng.gamma(alpha + observed) / (alpha / max(usual, 1e-12) + expected)
    inside = _after(tally, tally.inside, level, rng)
    rest = ~tally.inside
    enough = min(observed[rest].sum(), tally.after[0, rest].sum()) >= _FEWEST
    return inside, _after(tally, rest, level, rng) if enough else None


def _after(tally: Tally, part: NDArray[np.bool_], level: Array, rng: np.random.Generator) -> Array:
    observed, expected = tally.speaks * tally.after[:, part]
    # half an event more is Jeffreys' prior: none since is not a rate of nought
    seen = rng.gamma(observed.sum() + 0.5, size=_DRAWS)
    return np.asarray(seen / (level[:, part] @ expected))


def _evidence(alpha: float, observed: Array, expected: Array, usual: float) -> float:
    """Log probability of the groups' events when their levels have this spread."""
    rate = alpha / max(usual, 1e-12)
    terms = gammaln(alpha + observed) - gammaln(alpha) + alpha * np.log(rate)
    return float((terms - (alpha + observed) * np.log(rate + expected)).sum())


def _row(tally: Tally) -> dict[str, object]:
    inside = tally.inside
    (seen, awaited), (seen_since, awaited_since) = (
        (float(part[0, inside].sum()), float(part[1, inside].sum()))
        for part in (tally.before, tally.after)
    )
    row: dict[str, object] = {
        "observed_before": seen,
        "expected_before": awaited,
        "observed_since": seen_since,
        "expected_since": awaited_since,
    }
    blank = Estimate(estimate=np.nan, low=np.nan, high=np.nan)
    change = rest = net = blank
    note = ""
    if not min(awaited, awaited_since) > 0:
        note = "no fitting of the programme on both sides of its first day"
    elif seen < _FEWEST:
        note = f"fewer than {_FEWEST:g} events before: no change shown"
    else:
        draws, others = change_of_rate(tally)
        change = from_draws(draws)
        if others is None:
            note = "nobody outside to compare with: what else changed then is in it"
        else:
            rest, net = from_draws(others), from_draws(draws / others)
    for name, value in (("change", change), ("rest", rest), ("net", net)):
        row |= {name: value.estimate, f"{name}_low": value.low, f"{name}_high": value.high}
    return row | {"note": note}


def _failures(usual: Usual, programme: Programme) -> Tally:
    since = usual.lives["installed_on"].ge(pd.Timestamp(programme.starts_on)).to_numpy()
    label, inside = _groups(usual.lives, programme)
    period = pd.Series(np.where(since, " since", " before"), index=label.index)
    share = shares(usual, levels(usual, label + period))
    # a failure that may be wear's tells as much as its share squared
    speaks = float((share**2).sum() / max(float(share.sum()), 1e-12))
    return _tally(label, inside, since, share, usual.expected, speaks)


def _records(found: FoundDefects, programme: Programme) -> Tally:
    since = found.fittings["installed_on"].ge(pd.Timestamp(programme.starts_on)).to_numpy()
    label, inside = _groups(found.fittings, programme)
    # defects that come several at once tell less than as many alone
    speaks = float(found.found.sum() / (found.found**2).sum())
    return _tally(label, inside, since, found.found, found.expected, speaks)


def _groups(rows: pd.DataFrame, programme: Programme) -> tuple[pd.Series, NDArray[np.bool_]]:
    """The group of each row and whether the programme reached it."""
    inside = np.ones(len(rows), dtype=bool)
    if programme.sites:
        inside &= rows["site"].isin(programme.sites).to_numpy()
    if programme.crews:
        inside &= rows["crew"].isin(programme.crews).to_numpy()
    by = "site" if programme.sites and not programme.crews else "crew"
    named = rows[by].fillna("unknown").astype(str)
    return named.where(inside, named + " outside"), inside


def _tally(
    label: pd.Series,
    inside: NDArray[np.bool_],
    since: NDArray[np.bool_],
    observed: Array,
    expected: Array,
    speaks: float,
) -> Tally:
    codes, names = pd.factorize(label)
    sums = np.zeros((2, 2, len(names)))
    for row, values in enumerate((observed, expected)):
        np.add.at(sums[:, row], (since.astype(int), codes), values)
    took_part = np.zeros(len(names), dtype=bool)
    took_part[codes[inside]] = True
    return Tally(
        label=np.asarray(names, dtype=object),
        inside=took_part,
        before=sums[0],
        after=sums[1],
        speaks=speaks,
    )
