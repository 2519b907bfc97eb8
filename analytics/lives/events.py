"""What ended each disc's life: a premature failure, a true demand, or something else.

The rules are those of the trade where it has any (common practice, no source):
a burst below the disc's own window, or without an upset, came too early; one at
or above it did its duty. What the record cannot tell stays `unclear`.
"""

from enum import Enum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["Ending", "endings"]


class Ending(Enum):
    """What ended a life; the values are the words the lives frame carries."""

    PREMATURE = "premature"
    DEMAND = "demand"
    UNCLEAR = "unclear"
    PLANNED = "planned"
    OPPORTUNITY = "opportunity"
    IN_SERVICE = "in_service"
    DANGEROUS = "dangerous"
    WRONG_DISC = "wrong_disc"


_BY_REASON = {
    "leak": Ending.PREMATURE,
    "damage_found": Ending.PREMATURE,
    "planned": Ending.PLANNED,
    "opportunity": Ending.OPPORTUNITY,
    "wrong_disc": Ending.WRONG_DISC,
    "failed_to_open": Ending.DANGEROUS,
    "unknown": Ending.UNCLEAR,
    "burst": Ending.UNCLEAR,
}


def endings(
    removals: pd.DataFrame,
    minimum_burst_barg: NDArray[np.float64],
    maximum_burst_barg: NDArray[np.float64],
) -> pd.Series:
    """Say what each removal was.

    Parameters
    ----------
    removals : DataFrame, one row per removal
        Needs `reason`, `upset` (nullable boolean) and `peak_pressure_barg`.
    minimum_burst_barg, maximum_burst_barg : ndarray, shape (n_removals,)
        Upstream pressure at which the disc that was removed could burst at the least
        and at the most: marked burst pressure less and plus burst tolerance, plus
        back pressure; NaN when unknown. [barg]

    Returns
    -------
    Series of str, same index
        Values of `Ending`.

    Notes
    -----
    A burst is premature when its peak lies below the minimum burst pressure or
    no upset happened, a demand when its peak reaches it or an upset did happen,
    and unclear when neither is known or the two contradict each other. A disc
    that stayed whole although the pressure went above its maximum is dangerous,
    whatever the reason it was taken out for.

    Examples
    --------
    >>> log = pd.DataFrame({"reason": ["burst", "burst", "planned"],
    ...     "upset": pd.array([False, None, None], dtype="boolean"),
    ...     "peak_pressure_barg": [np.nan, 9.9, 12.0]})
    >>> window = np.array([9.5, 9.5, 9.5]), np.array([10.5, 10.5, 10.5])
    >>> endings(log, *window).tolist()
    ['premature', 'demand', 'dangerous']
    """
    kind = removals["reason"].map({word: ending.value for word, ending in _BY_REASON.items()})
    peak = removals["peak_pressure_barg"].to_numpy(dtype=float)
    upset = removals["upset"].to_numpy(dtype=object)
    happened = np.array([value is True for value in upset], dtype=bool)
    ruled_out = np.array([value is False for value in upset], dtype=bool)
    with np.errstate(invalid="ignore"):
        below = peak < minimum_burst_barg
        reached = peak >= minimum_burst_barg
        above = peak > maximum_burst_barg

    burst = (removals["reason"] == "burst").to_numpy()
    early = (below | ruled_out) & ~(reached | happened)
    demand = (reached | happened) & ~(below | ruled_out)
    stayed_whole = ~burst & above & (kind != Ending.WRONG_DISC.value).to_numpy()
    result = kind.to_numpy(dtype=object)
    result[burst & early] = Ending.PREMATURE.value
    result[burst & demand] = Ending.DEMAND.value
    result[stayed_whole] = Ending.DANGEROUS.value
    return pd.Series(result, index=removals.index, name="ending", dtype=object)
