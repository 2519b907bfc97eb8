r"""What do the counts alone say? Defect found or not, against failed early or not.

The plainest look there is, check by check: of the discs fitted with a defect, a out of a + b
failed early; of those fitted without, c out of c + d. Nothing is adjusted for duty, age or the
other checks, and a check that was not recorded is left out.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.stats import chi2, fisher_exact, norm
from scipy.stats.contingency import odds_ratio

from analytics.estimate import Estimate
from analytics.findings import empty_frame
from analytics.installs.checklist import CHECKLIST, DEFECTS
from analytics.lives.events import Ending

__all__ = ["EARLY_YEARS", "TwoByTwo", "counts_alone", "two_by_two"]

EARLY_YEARS = 1.0
"""A premature failure up to this age counts as early; a disc taken out for another reason, or
not yet watched, before it counts as nothing. Our choice. [years]"""

_CHI2 = float(chi2.ppf(0.95, 1))
_WIDEST, _SURE = 25.0, 1e-13

Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoByTwo:
    """What four counts say, with 95 % limits.

    Attributes
    ----------
    risk_difference, relative_risk, odds_ratio : Estimate
        Risk with the defect less risk without; the one over the other; the same for odds. [-]
    p_value : float
        Fisher's exact test, two-sided. [-]
    """

    risk_difference: Estimate
    relative_risk: Estimate
    odds_ratio: Estimate
    p_value: float


def two_by_two(*, failed: int, sound: int, failed_without: int, sound_without: int) -> TwoByTwo:
    r"""Compare two groups by four counts.

    .. math:: RR = \frac{a / (a + b)}{c / (c + d)}, \qquad OR = \frac{ad}{bc}

    Parameters
    ----------
    failed, sound : int
        a and b: with the defect, failed early or not, >= 0, not both 0. [-]
    failed_without, sound_without : int
        c and d: the same without it. [-]

    Returns
    -------
    TwoByTwo
        Relative risk with Koopman's score limits, odds ratio as the sample's with exact
        conditional limits, risk difference with Newcombe's hybrid score limits.

    Raises
    ------
    ValueError
        If a count is negative or a group is empty.

    Notes
    -----
    With no failure in one group, or in none, ratios are 0, infinite or NaN and their limits
    run to 0 or infinity: said, not mended by adding halves.

    References
    ----------
    .. [1] P. A. R. Koopman, "Confidence intervals for the ratio of two binomial proportions",
       Biometrics 40 (1984) 513-517. From memory, unverified.
    .. [2] R. G. Newcombe, "Interval estimation for the difference between independent
       proportions", Statistics in Medicine 17 (1998) 873-890, method 10. From memory, unverified.

    Examples
    --------
    >>> found = two_by_two(failed=6, sound=4, failed_without=4, sound_without=36)
    >>> round(found.p_value, 7), round(found.relative_risk.estimate, 1)
    (0.0019872, 6.0)
    """
    counts = (failed, sound, failed_without, sound_without)
    if min(counts) < 0 or failed + sound == 0 or failed_without + sound_without == 0:
        raise ValueError(f"counts must be >= 0 and neither group empty, got {counts}")
    table = np.array([[failed, sound], [failed_without, sound_without]])
    return TwoByTwo(
        risk_difference=_difference(table),
        relative_risk=_relative(table),
        odds_ratio=_odds(table),
        p_value=float(fisher_exact(table).pvalue),
    )


def counts_alone(lives: pd.DataFrame, early_years: float = EARLY_YEARS) -> pd.DataFrame:
    """Give the plain table of every check that was recorded both ways.

    Parameters
    ----------
    lives : DataFrame, one row per life
        The lives frame.
    early_years : float, default `EARLY_YEARS`
        Age up to which a premature failure is early, > 0. [years]

    Returns
    -------
    DataFrame, smallest p-value first
        The `counts_alone` frame of `analytics.findings.Findings`.
    """
    age = lives["age_years"].astype(float)
    early = lives["ending"].eq(Ending.PREMATURE.value) & age.le(early_years)
    new = lives["age_known"] & lives["entry_years"].astype(float).le(0)
    judged = lives[new & (early | age.gt(early_years))].assign(early=early)
    rows = [row for name in DEFECTS if (row := _row(name, judged)) is not None]
    if not rows:
        return empty_frame("counts_alone")
    return pd.DataFrame(rows).sort_values("p_value", ignore_index=True)


def _row(name: str, judged: pd.DataFrame) -> dict[str, object] | None:
    known = judged[judged[name].notna()]
    amiss, early = ~known[name].astype(bool), known["early"]
    a, b = int((amiss & early).sum()), int((amiss & ~early).sum())
    c, d = int((~amiss & early).sum()), int((~amiss & ~early).sum())
    if not (a + b and c + d):
        return None
    found = two_by_two(failed=a, sound=b, failed_without=c, sound_without=d)
    row: dict[str, object] = {
        "check": name,
        "about": CHECKLIST[name].defect,
        "with_defect": a + b,
        "failed_with": a,
        "without_defect": c + d,
        "failed_without": c,
    }
    for what in ("relative_risk", "odds_ratio", "risk_difference"):
        value: Estimate = getattr(found, what)
        row |= {what: value.estimate, f"{what}_low": value.low, f"{what}_high": value.high}
    return row | {"p_value": found.p_value}


def _relative(table: Counts) -> Estimate:
    """Relative risk with Koopman's score limits, which small and empty cells do not upset."""
    (a, b), (c, d) = table.tolist()
    n, m = a + b, c + d
    if a + c == 0:
        return Estimate(estimate=np.nan, low=0.0, high=np.inf)
    ratio = np.inf if c == 0 else (a / n) / (c / m)
    middle = float(np.log(((a + 0.5) / (n + 0.5)) / ((c + 0.5) / (m + 0.5))))
    centre = float(np.log(ratio)) if a and c else middle

    def beyond(log_ratio: float) -> float:
        return _score_distance(float(np.exp(log_ratio)), a, n, c, m) - _CHI2

    low = brentq(beyond, centre - _WIDEST, centre) if a else -np.inf
    high = brentq(beyond, centre, centre + _WIDEST) if c else np.inf
    return Estimate(estimate=float(ratio), low=float(np.exp(low)), high=float(np.exp(high)))


def _score_distance(ratio: float, a: int, n: int, c: int, m: int) -> float:
    """Score statistic of a relative risk, the risks being the likeliest that have it."""
    square, linear = (n + m) * ratio, ratio * n + a + m + ratio * c
    root = np.sqrt(max(linear**2 - 4 * square * (a + c), 0.0))
    q = 2 * (a + c) / (linear + root)
    shares = np.clip([ratio * q, q], _SURE, 1 - _SURE)
    sizes = np.array([n, m])
    gaps = np.array([a, c]) - sizes * shares
    return float(np.sum(gaps**2 / (sizes * shares * (1 - shares))))


def _odds(table: Counts) -> Estimate:
    (a, b), (c, d) = table.tolist()
    with np.errstate(divide="ignore", invalid="ignore"):
        sample = float(np.float64(a * d) / np.float64(b * c))
    if min(a + c, b + d) == 0:
        return Estimate(estimate=np.nan, low=0.0, high=np.inf)
    limits = odds_ratio(table, kind="conditional").confidence_interval(0.95)
    return Estimate(estimate=sample, low=float(limits.low), high=float(limits.high))


def _difference(table: Counts) -> Estimate:
    (a, b), (c, d) = table.tolist()
    p, q = a / (a + b), c / (c + d)
    (p_low, p_high), (q_low, q_high) = _score(a, a + b), _score(c, c + d)
    return Estimate(
        estimate=p - q,
        low=p - q - float(np.hypot(p - p_low, q_high - q)),
        high=p - q + float(np.hypot(p_high - p, q - q_low)),
    )


def _score(count: int, n: int) -> tuple[float, float]:
    """Wilson's score limits of a share."""
    z = float(norm.ppf(0.975))
    middle = (count + z * z / 2) / (n + z * z)
    half = z / (n + z * z) * float(np.sqrt(count * (n - count) / n + z * z / 4))
    return middle - half, middle + half
