r"""Were the early failures owed to the installation? Two hazards, added, tell it.

.. math::
    H(t) = e^{a + \sum_j \log(1 - x_j + x_j e^{b_j}) + u'c}\, t^{k}
    + \exp\left(\frac{\log t - m - w'g}{s}\right), \qquad 0 < k \le 1 \le 1/s

The first hazard falls with age and is raised by the defects found when the disc was fitted;
the second rises with age and is sped up by duty. Which of the two ended a life is never seen.
A check that was not recorded enters with its prevalence, which gives the marginal hazard of
the life to first order: it counts neither as passed nor as failed.

Two things may fail to hold: the ratios of several defects need not multiply, and defects may
hasten wear as well. Versions of the model that allow for either are fitted beside the plain
one, and all draws come from each version as often as the data make it probable. Without this,
a fleet whose defects shorten every life alike has its share owed to the installation
understated by some twenty points of percent (tests/studies/test_share_recovery.py).
"""

from analytics.survival.two_hazard_data import (
    TwoHazardData,
    fill_unrecorded,
    take_rows,
    two_hazard_data,
)
from analytics.survival.two_hazard_draws import TwoHazardDraws, life_law
from analytics.survival.two_hazard_fit import (
    MIN_FAILURES,
    MIN_FAILURES_BLIND,
    TwoHazardEstimates,
    TwoHazardFit,
    fit_two_hazard,
    parameter_draws,
)
from analytics.survival.two_hazard_prior import PRIORS
from analytics.survival.two_hazard_shares import OwedShares, share_owed

__all__ = [
    "MIN_FAILURES",
    "MIN_FAILURES_BLIND",
    "PRIORS",
    "OwedShares",
    "TwoHazardData",
    "TwoHazardDraws",
    "TwoHazardEstimates",
    "TwoHazardFit",
    "fill_unrecorded",
    "fit_two_hazard",
    "life_law",
    "parameter_draws",
    "share_owed",
    "take_rows",
    "two_hazard_data",
]
