r"""What the two-hazard model takes for granted before it sees the data, and where each number sits.

The search vector holds, in this order,

- a: log cumulative installation hazard of a clean disc at the reference age
- b_1..b_J: log ratio of each defect in the installation hazard
- f: log ratio of having any defect at all, in versions where the first does most harm
- c_1..c_q: coefficients of the installation covariates, centred and scaled
- logit k: shape of the installation hazard, kept in (0, 1)
- d: log cumulative wear hazard of a clean disc at the reference age
- g_1..g_r: coefficients of the wear covariates on log hazard, centred and scaled
- w_1..w_J: log ratio of each defect in the wear hazard, in versions where defects wear
- log(beta - 1): shape of the wear hazard, kept above 1
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["PRIORS", "VERSIONS", "Places", "Version", "gaussian_prior", "places"]

Array = NDArray[np.float64]

LEVEL_SD = 4.0
DEFECT_LEVEL_SD, DEFECT_OWN_SD = 1.5, 1.0
WEAR_DEFECT_LEVEL_SD, WEAR_DEFECT_OWN_SD = 0.7, 0.5
FIRST_DEFECT_SD = 1.0
INSTALL_SD = 1.0
INSTALL_SHAPE = (float(np.log(0.6 / 0.4)), 1.0)
WEAR_SD = 2.5
WEAR_SHAPE = (float(np.log(1.5)), 0.8)

PRIORS = {
    "levels": "log of half the crude failure rate, sd 4: either hazard may carry all failures "
    "or a thousandth of them",
    "defects": "log hazard ratios share a level N(0, 1.5) and differ from it by N(0, 1): no "
    "defect is presumed harmful, a ratio of 10 is not surprising, and a rare defect leans on "
    "the others",
    "first defect": "N(0, 1), in the versions that have it: further defects add less, or more, "
    "than the product of their ratios",
    "defects on wear": "a level N(0, 0.7) and N(0, 0.5) around it, in the versions that have it",
    "versions": "one in ten that the first defect does most harm, one in ten that defects "
    "hasten wear too, independently: the plain version unless the data speak against it",
    "install covariates": "N(0, 1) per standard deviation of the covariate, or per half the "
    "step of a yes/no one: a hazard ratio of 7 either way is at the edge",
    "install shape": "logit k ~ N(logit 0.6, 1): k between 0.17 and 0.91, a hazard that falls "
    "with age, as running-in failures do",
    "wear covariates": "on log hazard N(0, 2.5), scaled as above: weak, duty may change the "
    "hazard a hundredfold",
    "wear shape": "log(beta - 1) ~ N(log 1.5, 0.8): beta between 1.3 and 8.2, median 2.5, the "
    "range of fatigue and creep life",
}
"""Each prior with its mean, spread and reason; the ranges are central 95 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Version:
    """One way in which defects may act.

    Attributes
    ----------
    first_counts_most : bool
        Having any defect has a ratio of its own, beside those of the defects.
    hastens_wear : bool
        Defects raise the wear hazard as well.
    probability : float
        Before the data. [-]
    """

    first_counts_most: bool
    hastens_wear: bool
    probability: float


VERSIONS = (
    Version(first_counts_most=False, hastens_wear=False, probability=0.81),
    Version(first_counts_most=True, hastens_wear=False, probability=0.09),
    Version(first_counts_most=False, hastens_wear=True, probability=0.09),
    Version(first_counts_most=True, hastens_wear=True, probability=0.01),
)
"""Defects act early and their ratios multiply; or one of these, or both, fail to hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Where each parameter sits in the search vector.

    Attributes
    ----------
    install_level, install_shape, wear_level, wear_shape, size : int
        Places of single parameters, and the number of all.
    defects, first, install, duty, wear_defects : slice
        Places of b, f, c, g and w; empty where the version has none.
    """

    install_level: int
    defects: slice
    first: slice
    install: slice
    install_shape: int
    wear_level: int
    duty: slice
    wear_defects: slice
    wear_shape: int
    size: int


def places(version: Version, n_defects: int, n_install: int, n_duty: int) -> Places:
    """Lay out the search vector of a version for so many defects and covariates."""
    first = 1 + n_defects
    install = first + version.first_counts_most
    shape = install + n_install
    wear = shape + 2 + n_duty
    last = wear + n_defects * version.hastens_wear
    return Places(
        install_level=0,
        defects=slice(1, first),
        first=slice(first, install),
        install=slice(install, shape),
        install_shape=shape,
        wear_level=shape + 1,
        duty=slice(shape + 2, wear),
        wear_defects=slice(wear, last),
        wear_shape=last,
        size=last + 1,
    )


def gaussian_prior(at: Places, log_crude_hazard: float) -> tuple[Array, Array]:
    """Mean and precision of the search vector, as `PRIORS` tells them.

    `log_crude_hazard` is the log of failures per unit of exposure times the reference age.
    """
    mean, spread = np.zeros(at.size), np.zeros(at.size)
    mean[[at.install_level, at.wear_level]] = log_crude_hazard - np.log(2)
    spread[[at.install_level, at.wear_level]] = LEVEL_SD
    spread[at.defects], spread[at.wear_defects] = DEFECT_OWN_SD, WEAR_DEFECT_OWN_SD
    spread[at.first] = FIRST_DEFECT_SD
    spread[at.install], spread[at.duty] = INSTALL_SD, WEAR_SD
    mean[at.install_shape], spread[at.install_shape] = INSTALL_SHAPE
    mean[at.wear_shape], spread[at.wear_shape] = WEAR_SHAPE
    covariance = np.diag(spread**2)
    covariance[at.defects, at.defects] += DEFECT_LEVEL_SD**2
    covariance[at.wear_defects, at.wear_defects] += WEAR_DEFECT_LEVEL_SD**2
    return mean, np.asarray(np.linalg.inv(covariance))
