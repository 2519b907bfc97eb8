"""What to make of endings nobody can tell: how much each counts as a premature failure."""

from enum import Enum

import numpy as np
import pandas as pd

from analytics.lives.events import Ending

__all__ = ["UnclearAs", "premature_weight"]

_TOLD = [Ending.PREMATURE.value, Ending.DEMAND.value]
_RUNNING = [Ending.IN_SERVICE.value, Ending.UNCLEAR.value]


class UnclearAs(Enum):
    """How unclear endings are read."""

    WEIGHTED = "as often premature as the endings that could be told"
    PREMATURE = "every one premature"
    NOT_PREMATURE = "none premature"


def premature_weight(lives: pd.DataFrame, unclear: UnclearAs = UnclearAs.WEIGHTED) -> pd.Series:
    """Say to which part each life ended in a premature failure.

    Parameters
    ----------
    lives : DataFrame, one row per life
        Needs `ending` and `reason`.
    unclear : UnclearAs
        How unclear endings are read.

    Returns
    -------
    Series of float, same index
        1 for a premature failure, 0 for any other ending, and for an unclear one
        1, 0, or the share of premature ones among like endings that could be told:
        bursts among bursts, any other among all lives that ended. [-]

    Examples
    --------
    >>> lives = pd.DataFrame({"ending": ["premature", "demand", "unclear", "in_service"],
    ...                       "reason": ["burst", "burst", "burst", None]})
    >>> premature_weight(lives).tolist()
    [1.0, 0.0, 0.5, 0.0]
    """
    ending = lives["ending"]
    weight = ending.eq(Ending.PREMATURE.value).astype(float)
    told = {
        UnclearAs.PREMATURE: (1.0, 1.0),
        UnclearAs.NOT_PREMATURE: (0.0, 0.0),
        UnclearAs.WEIGHTED: _shares_told(lives, weight),
    }[unclear]
    burst = lives["reason"].eq("burst")
    like = pd.Series(np.where(burst, told[0], told[1]), index=lives.index)
    return weight.mask(ending.eq(Ending.UNCLEAR.value), like)


def _shares_told(lives: pd.DataFrame, weight: pd.Series) -> tuple[float, float]:
    """Share of premature endings among bursts that could be told, and among all endings."""
    bursts = lives["reason"].eq("burst") & lives["ending"].isin(_TOLD)
    ended = ~lives["ending"].isin(_RUNNING)
    of_ended = float(weight[ended].mean()) if ended.any() else 0.0
    return (float(weight[bursts].mean()) if bursts.any() else of_ended), of_ended
