r"""Which check is worth recording next: how much narrower would the answer become?

A check nobody recorded is a latent yes or no of each life. By the missing-information principle
the information had it been recorded is that of the complete data, expected over what the records
and the life's own ending say of the latent answer,

.. math:: \pi = \frac{x\,L(1)}{x\,L(1) + (1 - x)\,L(0)},

with x the prevalence among like records and L the likelihood of the life with and without the
defect. Each such life is taken as two, with the defect and weight :math:`\pi`, and without it.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.errors import InputError
from analytics.installs.checklist import CHECKLIST
from analytics.survival.law import LifeLaw, cumulative_hazard, hazard
from analytics.survival.two_hazard import TwoHazardFit
from analytics.survival.two_hazard_data import TwoHazardData, take_rows
from analytics.survival.two_hazard_draws import TwoHazardDraws, draw_modes, life_law
from analytics.survival.two_hazard_modes import Mode
from analytics.survival.two_hazard_posterior import posterior, slopes
from analytics.survival.two_hazard_shares import share_owed

__all__ = ["OFTEN", "Narrowing", "narrowing", "record_next"]

OFTEN = 0.9
"""A check on more records than this is recorded often. Our choice. [-]"""

_DRAWS = 200
_DRAWS_TO_GUESS = 20
_NOTHING = 1e-9
_HARDLY = 0.02
"""A version of the model less probable than this keeps its width: it moves nothing."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowing:
    """How much narrower limits would be were one check on every record.

    Attributes
    ----------
    effect : float
        Width of the limits of the check's log effect, then over now. [-]
    owed : float
        The same of the failures its defect is owed. [-]
    total : float
        The same of the failures owed to all defects. [-]
    """

    effect: float
    owed: float
    total: float


def record_next(fit: TwoHazardFit, defects: pd.DataFrame) -> pd.DataFrame:
    """Rank the checks not recorded often by how much recording them would narrow the answer.

    Parameters
    ----------
    fit : TwoHazardFit
        The fit.
    defects : DataFrame
        The `defects` frame of findings.

    Returns
    -------
    DataFrame, the one that narrows by most failures first
        The `record_next` frame of findings: `check about recorded_pct failures_owed now_low
        now_high then_low then_high width effect_width total_width`, widths as parts of today's.
        The limits then are drawn about today's estimate: where they would stand, only the
        records can tell.
    """
    rows = []
    now = _widths(draw_modes(fit.modes, _DRAWS, seed=0), fit.data)
    for row in defects.to_dict("records"):
        name = str(row["check"])
        if name not in fit.data.defect_names or row["recorded_pct"] >= 100 * OFTEN:
            continue
        found = _narrowing(fit, name, now)
        middle, low, high = (float(row[f"failures_owed{end}"]) for end in ("", "_low", "_high"))
        rows.append(
            {
                "check": name,
                "about": CHECKLIST[name].defect,
                "recorded_pct": row["recorded_pct"],
                "failures_owed": middle,
                "now_low": low,
                "now_high": high,
                "then_low": middle - found.owed * (middle - low),
                "then_high": middle + found.owed * (high - middle),
                "width": found.owed,
                "effect_width": found.effect,
                "total_width": found.total,
            }
        )
    if not rows:
        return pd.DataFrame()
    frame = pd.DataFrame(rows)
    gained = (frame["now_high"] - frame["now_low"]) * (1 - frame["width"])
    return frame.iloc[np.argsort(-gained.to_numpy(), kind="stable")].reset_index(drop=True)


def narrowing(fit: TwoHazardFit, check: str) -> Narrowing:
    """Foretell how much recording one check on every life of the log would narrow the answer.

    Parameters
    ----------
    fit : TwoHazardFit
        The fit, with the check recorded on some lives only.
    check : str
        One of `fit.data.defect_names`.

    Returns
    -------
    Narrowing
        Widths of 95 % limits, then over now.

    Raises
    ------
    InputError
        If the check is not in the fit.

    References
    ----------
    .. [1] T. A. Louis, "Finding the observed information matrix when using the EM algorithm",
       J. R. Statist. Soc. B 44 (1982) 226-233.
    """
    if check not in fit.data.defect_names:
        raise InputError(
            f"check must be one of the fit's, {', '.join(fit.data.defect_names)}; got {check!r}"
        )
    return _narrowing(fit, check, _widths(draw_modes(fit.modes, _DRAWS, seed=0), fit.data))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Widths:
    effect: dict[str, float]
    owed: dict[str, float]
    total: float


def _narrowing(fit: TwoHazardFit, check: str, now: _Widths) -> Narrowing:
    data = _as_if_recorded(fit, check)
    modes = [_seen_again(mode, data) for mode in fit.modes]
    then = _widths(draw_modes(modes, _DRAWS, seed=0), data)
    return Narrowing(
        effect=_part(then.effect[check], now.effect[check]),
        owed=_part(then.owed[check], now.owed[check]),
        total=_part(then.total, now.total),
    )


def _part(then: float, now: float) -> float:
    """Width then over now; more than all of it is the noise of the draws."""
    return min(then / max(now, _NOTHING), 1.0)


def _widths(draws: TwoHazardDraws, data: TwoHazardData) -> _Widths:
    failed = data.lifetimes.ended & (data.lifetimes.weight > 0)
    owed = share_owed(draws, take_rows(data, np.flatnonzero(failed)))
    return _Widths(
        effect=dict(zip(data.defect_names, draws.defect_effects.std(axis=0), strict=True)),
        owed={name: found.high - found.low for name, found in owed.defect_owed.items()},
        total=owed.failures_owed.high - owed.failures_owed.low,
    )


def _seen_again(mode: Mode, data: TwoHazardData) -> Mode:
    """The same peak with the width that other data would give it."""
    if mode.probability < _HARDLY:
        return mode
    problem = posterior(data, mode.version)
    _, curvature = slopes(problem, mode.vector)
    covariance = np.linalg.inv(problem.prior_precision - curvature)
    return replace(mode, problem=problem, covariance=np.asarray(covariance))


def _as_if_recorded(fit: TwoHazardFit, check: str) -> TwoHazardData:
    """Take each life on which the check is blank as two, with the defect and without it."""
    data = fit.data
    column = data.defect_names.index(check)
    unsure = np.flatnonzero((data.defects[:, column] > 0) & (data.defects[:, column] < 1))
    present = _present(fit, column, unsure)
    rows = np.concatenate([np.arange(len(data.lifetimes)), unsure])
    both = take_rows(data, rows)
    defects, weight = both.defects.copy(), both.lifetimes.weight.copy()
    defects[unsure, column], defects[len(data.lifetimes) :, column] = 1.0, 0.0
    weight[unsure] *= present
    weight[len(data.lifetimes) :] *= 1 - present
    return replace(both, defects=defects, lifetimes=replace(both.lifetimes, weight=weight))


def _present(fit: TwoHazardFit, column: int, unsure: NDArray[np.int_]) -> Array:
    """Probability that the defect was there, given how each life went."""
    rows = take_rows(fit.data, unsure)
    draws = draw_modes(fit.modes, _DRAWS_TO_GUESS, seed=0)
    likelihood = []
    for there in (0.0, 1.0):
        defects = rows.defects.copy()
        defects[:, column] = there
        law = life_law(
            draws,
            defects=defects,
            install_design=rows.install_design,
            wear_design=rows.wear_design,
        )
        likelihood.append(_likelihood(law, rows))
    odds = rows.defects[:, column] * likelihood[1]
    return np.asarray(odds / (odds + (1 - rows.defects[:, column]) * likelihood[0]))


def _likelihood(law: LifeLaw, rows: TwoHazardData) -> Array:
    """Mean likelihood of each life over the draws."""
    lives = rows.lifetimes
    early, late = hazard(law, np.maximum(lives.lower, _NOTHING))
    lived = np.exp(cumulative_hazard(law, lives.entry) - cumulative_hazard(law, lives.lower))
    upper = np.where(lives.ended, lives.upper, lives.lower)
    ended = -np.expm1(cumulative_hazard(law, lives.lower) - cumulative_hazard(law, upper))
    factor = np.where(lives.exact, early + late, np.where(lives.ended, ended, 1.0))
    return np.asarray((lived * factor).mean(axis=0))
