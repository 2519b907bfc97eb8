r"""Two hazards or one regression: which foretells lives it has not seen?

Each life is foretold by a model fitted without it and scored by the log of the probability
density (of the probability, where its age is only known to an interval) the model gave to what
happened, averaged over the model's parameter draws:

.. math::
    \sum_i w_i \log \frac1M \sum_{m=1}^{M} L_i(\theta^{(m)}_{-\text{fold}(i)})

Both models see the same covariates; in the regression defects shorten life as a whole.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from analytics.errors import NotEstimable
from analytics.survival.fit import Fit, draw_parameters, fit
from analytics.survival.fit import life_law as regression_law
from analytics.survival.law import Family, LifeLaw, cumulative_hazard, hazard
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.prior import Prior
from analytics.survival.two_hazard_data import TwoHazardData, take_rows
from analytics.survival.two_hazard_draws import life_law
from analytics.survival.two_hazard_fit import fit_two_hazard, parameter_draws

__all__ = [
    "Comparison",
    "ModelScore",
    "REGRESSION_PRIOR",
    "TWO_HAZARDS",
    "compare_models",
    "fit_regression",
    "log_scores",
]

Array = NDArray[np.float64]

TWO_HAZARDS = "two hazards"

REGRESSION_PRIOR = Prior(shape_median=1.5, shape_factor=10.0, effect_sd=2.5)
"""Weak, so that a defect all of whose discs failed does not stop the comparison."""

FAMILIES = (Family.WEIBULL, Family.LOGNORMAL, Family.LOGLOGISTIC)
FOLDS = 5
DRAWS = 100
NEXT_TO_NOTHING = -700.0
"""Log of about the smallest number; keeps one impossible life from deciding everything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelScore:
    """How one model did.

    Attributes
    ----------
    model : str
        `two hazards` or `weibull regression`, `lognormal regression`, ...
    log_score : float
        Cross-validated log score, the greater the better; NaN when it could not be fitted. [-]
    behind, behind_error : float
        How far it lies behind the best, and the standard error of that difference. [-]
    aic : float
        -2 log-likelihood + 2 parameters (for two hazards those that the data supplied), on all
        lives; the smaller the better. [-]
    parameters : float
        Number of parameters in `aic`. [-]
    note : str
        Why it could not be fitted; blank if it was.
    """

    model: str
    log_score: float
    behind: float
    behind_error: float
    aic: float
    parameters: float
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Models side by side.

    Attributes
    ----------
    scores : tuple of ModelScore
        Best first; those that could not be fitted last.
    best : str
        Name of the model to use.
    why : str
        One sentence on how it was chosen.
    """

    scores: tuple[ModelScore, ...]
    best: str
    why: str


def compare_models(data: TwoHazardData, *, folds: int = FOLDS, seed: int = 0) -> Comparison:
    """Score two hazards and the regressions on lives they have not seen.

    Parameters
    ----------
    data : TwoHazardData
        n lives.
    folds : int, default 5
        Parts the lives are dealt into, failures evenly. [-]
    seed : int, default 0
        Seed of the dealing and of the parameter draws.

    Returns
    -------
    Comparison
        Scores of two hazards and of Weibull, lognormal and loglogistic regression.

    Raises
    ------
    NotEstimable
        If no model can be fitted to every part.

    References
    ----------
    .. [1] Gneiting & Raftery (2007), J. Am. Stat. Assoc. 102, 359-378 (proper scores). From
       memory, unverified.
    """
    parts = _deal(data.lifetimes, folds, seed)
    rows: dict[str, Array] = {}
    notes: dict[str, str] = {}
    criteria: dict[str, tuple[float, float]] = {}
    for family in (None, *FAMILIES):
        name = TWO_HAZARDS if family is None else f"{family.value} regression"
        try:
            criteria[name] = _criterion(data, family)
            rows[name] = _held_out(data, family, parts, seed)
        except NotEstimable as reason:
            notes[name] = str(reason)
    if not rows:
        raise NotEstimable(f"no life model can be scored: {'; '.join(notes.values())}")
    return _judge(rows, notes, criteria, data.lifetimes)


def fit_regression(data: TwoHazardData, family: Family) -> tuple[Fit, NDArray[np.intp]]:
    """Fit an accelerated-life regression on defects, installation and duty together.

    Parameters
    ----------
    data : TwoHazardData
        n lives; a column that never varies is left out.
    family : Family
        Family of life.

    Returns
    -------
    Fit
        The regression, with the weak prior `REGRESSION_PRIOR`.
    ndarray of int
        Which columns of (defects, install_design, wear_design), side by side, it uses.
    """
    design = _side_by_side(data)
    names = (*data.defect_names, *data.install_names, *data.wear_names)
    used = np.flatnonzero(np.ptp(design, axis=0) > 0)
    labels = tuple(f"{i}:{names[i]}" for i in used)
    result = fit(data.lifetimes, family, design[:, used], labels, prior=REGRESSION_PRIOR)
    return result, used


def log_scores(law: LifeLaw, lives: Lifetimes) -> Array:
    """Log of the mean likelihood of each life over the draws of a law.

    Parameters
    ----------
    law : LifeLaw
        Shape (n_draws, n).
    lives : Lifetimes
        n lives; weights are not applied.

    Returns
    -------
    ndarray, shape (n,)
        Log densities of exact ages [log 1/years], log probabilities of the others [-].
    """
    exact, interval = lives.exact, lives.ended & ~lives.exact
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        at_lower = cumulative_hazard(law, lives.lower)
        value = cumulative_hazard(law, lives.entry) - at_lower
        rate = np.log(np.add(*hazard(law, np.where(exact, lives.lower, 1.0))))
        gap = cumulative_hazard(law, np.where(interval, lives.upper, 1.0)) - at_lower
        within = np.log(-np.expm1(-np.maximum(gap, 0.0)))
        value = value + np.where(exact, rate, 0.0) + np.where(interval, within, 0.0)
    # a draw under which the life could not have come so far is worth next to nothing
    value = np.where(np.isnan(value), NEXT_TO_NOTHING, np.maximum(value, NEXT_TO_NOTHING))
    return np.asarray(logsumexp(value, axis=0) - np.log(len(value)))


def _side_by_side(data: TwoHazardData) -> Array:
    return np.hstack([data.defects, data.install_design, data.wear_design])


def _deal(lives: Lifetimes, folds: int, seed: int) -> list[NDArray[np.intp]]:
    """Row numbers of each part; failures and survivors are dealt separately."""
    rng = np.random.default_rng(seed)
    order = np.concatenate(
        [
            rng.permutation(np.flatnonzero(lives.ended)),
            rng.permutation(np.flatnonzero(~lives.ended)),
        ]
    )
    return [np.sort(order[start::folds]) for start in range(min(folds, len(order)))]


def _criterion(data: TwoHazardData, family: Family | None) -> tuple[float, float]:
    """AIC of a fit to all lives and its number of parameters."""
    if family is None:
        fitted = fit_two_hazard(data)
        likelihood, count = fitted.log_likelihood, fitted.effective_parameters
    else:
        regression, used = fit_regression(data, family)
        likelihood, count = regression.log_likelihood, used.size + 2.0
    return 2 * count - 2 * likelihood, count


def _held_out(
    data: TwoHazardData, family: Family | None, parts: list[NDArray[np.intp]], seed: int
) -> Array:
    """Log score of each life by the model fitted without its part."""
    scores = np.empty(len(data.lifetimes))
    for part in parts:
        rest = take_rows(data, np.setdiff1d(np.arange(len(scores)), part))
        unseen = take_rows(data, part)
        scores[part] = log_scores(_predict(rest, unseen, family, seed), unseen.lifetimes)
    return scores


def _predict(
    seen: TwoHazardData, unseen: TwoHazardData, family: Family | None, seed: int
) -> LifeLaw:
    """Law of the unseen lives by the model fitted to the seen ones."""
    if family is None:
        return life_law(
            parameter_draws(fit_two_hazard(seen), DRAWS, seed),
            defects=unseen.defects,
            install_design=unseen.install_design,
            wear_design=unseen.wear_design,
        )
    regression, used = fit_regression(seen, family)
    draws = draw_parameters(regression, DRAWS, np.random.default_rng(seed))
    return regression_law(regression, _side_by_side(unseen)[:, used], draws)


def _judge(
    rows: dict[str, Array],
    notes: dict[str, str],
    criteria: dict[str, tuple[float, float]],
    lives: Lifetimes,
) -> Comparison:
    """Order the models by their score and say why the best is best."""
    weight = lives.weight
    total = {name: float(weight @ row) for name, row in rows.items()}
    order = sorted(total, key=lambda name: -total[name])
    best = order[0]
    scores = []
    for name in order:
        lag = rows[best] - rows[name]
        spread = np.sqrt(weight @ (lag - np.average(lag, weights=weight)) ** 2)
        aic, count = criteria[name]
        scores.append(
            ModelScore(
                model=name,
                log_score=total[name],
                behind=total[best] - total[name],
                behind_error=float(spread),
                aic=aic,
                parameters=count,
                note="",
            )
        )
    scores += [_unfitted(name, reason) for name, reason in notes.items()]
    return Comparison(scores=tuple(scores), best=best, why=_why(scores))


def _unfitted(name: str, reason: str) -> ModelScore:
    nan = float("nan")
    return ModelScore(
        model=name,
        log_score=nan,
        behind=nan,
        behind_error=nan,
        aic=nan,
        parameters=nan,
        note=reason,
    )


def _why(scores: list[ModelScore]) -> str:
    """One sentence: what was chosen, against what, by how much, and whether that is clear."""
    best, rest = scores[0], [score for score in scores[1:] if not score.note]
    if not rest:
        return f"{best.model}: nothing else could be fitted ({scores[-1].note})"
    next_best = rest[0]
    clear = next_best.behind > 2 * next_best.behind_error
    return (
        f"{best.model} foretold unseen lives best: log score {best.log_score:.1f} against "
        f"{next_best.log_score:.1f} for {next_best.model}, a lead of {next_best.behind:.1f} "
        f"+/- {next_best.behind_error:.1f}, "
        + ("clear of chance" if clear else "which chance alone could give")
    )
