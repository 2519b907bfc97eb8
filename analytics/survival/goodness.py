r"""Does the life model fit? Failures seen against failures expected, group by group, in words.

A life watched from age e to x is expected to bring :math:`H(x) - H(e)` failures. Summed over the
lives and ages of a group this is set against what was seen,

.. math::
    X^2 = \sum_g \frac{(O_g - E_g)^2}{E_g} \sim \chi^2_{G - 1}
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import chi2

from analytics.errors import NotEstimable
from analytics.survival.law import LifeLaw, cumulative_hazard
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.two_hazard_data import TwoHazardData

__all__ = ["FitCheck", "check_fit", "residuals"]

Array = NDArray[np.float64]

SMALLEST_EXPECTED = 3.0
"""Groups with fewer expected failures are pooled: chi-square does not hold for them."""

CLEARLY, PERHAPS = 0.01, 0.05
MOST_DRAWS = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class FitCheck:
    """How well a life model fits the lives it was fitted to.

    Attributes
    ----------
    fits : bool
        False when failures stray from what is expected more than chance allows (p < 0.01).
    p_value : float
        Of the worst way of grouping, times the number of ways. [-]
    statement : str
        The same in a sentence, with the group that strays most.
    groups : DataFrame
        `grouping group age_from_years age_to_years failures expected`; sums of weights.
    residuals : DataFrame
        As from `residuals`, for plots.
    """

    fits: bool
    p_value: float
    statement: str
    groups: pd.DataFrame
    residuals: pd.DataFrame


def check_fit(law: LifeLaw, data: TwoHazardData) -> FitCheck:
    """Set the failures of each group against what the model expects of it.

    Parameters
    ----------
    law : LifeLaw
        Law of each life under the model, shape (n_draws, n).
    data : TwoHazardData
        The n lives it was fitted to.

    Returns
    -------
    FitCheck
        Groups by age, by number of recorded defects and age, by predicted risk and age.

    Raises
    ------
    NotEstimable
        If no life ended.

    Notes
    -----
    A failure known to an interval counts at its middle. The parameters were fitted to the same
    lives, so the test errs towards saying that the model fits.
    """
    lives = data.lifetimes
    if lives.failures == 0:
        raise NotEstimable("a goodness of fit needs at least one failure, got none")
    thinned = _thin(law)
    age = _age(lives)
    groupings = {
        "age": (np.full(len(lives), "all discs", dtype=object), 8),
        "defects": (_defect_groups(data.defects), 4),
        "predicted risk": (_risk_groups(thinned, lives, age), 2),
    }
    tables = []
    for name, (label, bands) in groupings.items():
        table = _table(thinned, lives, age, label, _edges(lives, age, bands))
        tables.append(table.assign(grouping=name))
    p_values = [_p_value(table) for table in tables]
    worst = int(np.argmin(p_values))
    p_value = min(1.0, len(tables) * p_values[worst])
    return FitCheck(
        fits=p_value >= CLEARLY,
        p_value=p_value,
        statement=_statement(lives, tables[worst], p_value),
        groups=pd.concat(tables, ignore_index=True),
        residuals=residuals(law, lives),
    )


def residuals(law: LifeLaw, lives: Lifetimes) -> pd.DataFrame:
    r"""Give Cox-Snell, martingale and deviance residuals of each life.

    Parameters
    ----------
    law : LifeLaw
        Law of each life, shape (n_draws, n).
    lives : Lifetimes
        n lives.

    Returns
    -------
    DataFrame, n rows
        `entry_hazard exit_hazard failed martingale deviance`. If the model fits, the failures
        plotted on the cumulative hazard instead of age are those of a unit exponential life
        with late entry; martingale residuals have mean 0 in any group. [-]
    """
    thinned = _thin(law)
    entry = cumulative_hazard(thinned, lives.entry).mean(axis=0)
    end = cumulative_hazard(thinned, _age(lives)).mean(axis=0)
    failed = lives.ended.astype(float)
    gap = np.maximum(end - entry, 1e-300)
    martingale = failed - gap
    deviance = np.sign(martingale) * np.sqrt(-2 * (martingale + failed * np.log(gap)))
    return pd.DataFrame(
        {
            "entry_hazard": entry,
            "exit_hazard": end,
            "failed": lives.ended,
            "martingale": martingale,
            "deviance": deviance,
        }
    )


def _thin(law: LifeLaw) -> LifeLaw:
    """At most `MOST_DRAWS` draws, evenly taken."""
    n = len(law.wear_sigma)
    keep = np.unique(np.linspace(0, n - 1, min(n, MOST_DRAWS)).astype(int))
    return LifeLaw(
        family=law.family,
        wear_location=law.wear_location[keep],
        wear_sigma=law.wear_sigma[keep],
        install_log_rate=law.install_log_rate[keep],
        install_shape=law.install_shape[keep],
    )


def _age(lives: Lifetimes) -> Array:
    """Age at the end of watching; the middle of an interval. [years]"""
    return np.asarray(np.where(lives.ended, (lives.lower + lives.upper) / 2, lives.lower))


def _edges(lives: Lifetimes, age: Array, bands: int) -> Array:
    """Ages that split the failures evenly, from 0 to the last. [years]"""
    inner = np.quantile(age[lives.ended], np.arange(1, bands) / bands)
    return np.unique(np.concatenate([[0.0], inner, [age.max()]]))


def _defect_groups(defects: Array) -> NDArray[np.object_]:
    recorded = (defects == 1).sum(axis=1)
    label = np.array(["no defect", "one defect", "several defects"], dtype=object)
    unknown = (recorded == 0) & ((defects > 0) & (defects < 1)).any(axis=1)
    return np.where(unknown, "no defect recorded, checks missing", label[np.minimum(recorded, 2)])


def _risk_groups(law: LifeLaw, lives: Lifetimes, age: Array) -> NDArray[np.object_]:
    """Fifths of the lives by their expected failures to one common age."""
    common = float(np.median(age[lives.ended]))
    risk = np.broadcast_to(cumulative_hazard(law, common).mean(axis=0), age.shape)
    fifth = np.searchsorted(np.quantile(risk, [0.2, 0.4, 0.6, 0.8]), risk)
    names = ("lowest", "second lowest", "middle", "second highest", "highest")
    return np.array([f"{name} predicted risk" for name in names], dtype=object)[fifth]


def _table(
    law: LifeLaw, lives: Lifetimes, age: Array, label: NDArray[np.object_], edges: Array
) -> pd.DataFrame:
    """Failures and expected failures of each group and age band."""
    end = np.maximum(age, lives.entry)
    reached = [
        cumulative_hazard(law, np.clip(edge, lives.entry, end)).mean(axis=0) for edge in edges
    ]
    parts = []
    for band in range(len(edges) - 1):
        within = lives.ended & (age > edges[band]) & (age <= edges[band + 1])
        parts.append(
            pd.DataFrame(
                {
                    "group": label,
                    "age_from_years": edges[band],
                    "age_to_years": edges[band + 1],
                    "failures": lives.weight * within,
                    "expected": lives.weight * (reached[band + 1] - reached[band]),
                }
            )
            .groupby(["group", "age_from_years", "age_to_years"], as_index=False)
            .sum()
        )
    return pd.concat(parts, ignore_index=True)


def _p_value(table: pd.DataFrame) -> float:
    """Chi-square tail of the groups, the small ones pooled."""
    small = table["expected"] < SMALLEST_EXPECTED
    pooled = table.loc[small, ["failures", "expected"]].sum().to_frame().T
    cells = pd.concat([table.loc[~small, ["failures", "expected"]], pooled])
    cells = cells[cells["expected"] > 0]
    statistic = ((cells["failures"] - cells["expected"]) ** 2 / cells["expected"]).sum()
    return float(chi2.sf(statistic, max(len(cells) - 1, 1)))


def _statement(lives: Lifetimes, table: pd.DataFrame, p_value: float) -> str:
    """Say it to a person who has to act on it."""
    large = table[table["expected"] >= SMALLEST_EXPECTED]
    large = large if len(large) else table
    stray = ((large["failures"] - large["expected"]) ** 2 / large["expected"]).idxmax()
    worst = table.loc[stray]
    where = (
        f"{worst['group']}, age {worst['age_from_years']:.2g} to {worst['age_to_years']:.2g} "
        f"years: {worst['failures']:.0f} failures against {worst['expected']:.1f} expected"
    )
    if p_value < CLEARLY:
        return (
            f"Does not fit: {lives.failures:.0f} failures stray from what the model expects more "
            f"than chance allows (p {p_value:.2g}), most of all {where}. Shares and forecasts "
            "there are not to be relied on."
        )
    if p_value < PERHAPS:
        return f"Fits with some doubt (p {p_value:.2g}); it strays most in {where}."
    return (
        f"Fits: over age, number of defects and predicted risk the {lives.failures:.0f} failures "
        f"stray no more than chance allows (p {p_value:.2g}); most in {where}."
    )
