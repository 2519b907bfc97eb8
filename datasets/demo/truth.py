r"""The truth the demo logs are drawn from; only tests may look.

.. math::
    h(t) = k e^{a + \sum_j b_j x_j} t^{k-1} + \frac{s}{\lambda}\left(\frac{t}{\lambda}\right)^{s-1},
    \quad \lambda = \lambda_{family} (r / 0.75)^{-n} (c / 100)^{-m}

with defects x, operating ratio r (least burst pressure), c cycles per year, t in years.
A disc of the bad lot ages four times as fast.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

__all__ = ["Parameters", "Truth", "install_rate", "wear_scale"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Parameters:
    """Numbers behind the logs; effects are logs of hazard ratios."""

    install_log_rate: float = -3.8
    install_shape: float = 0.6
    defect_effects: dict[str, float] = field(
        default_factory=lambda: {
            "tag_matches": 0.0,
            "disc_undamaged": 1.8,
            "seat_clean": 1.1,
            "seat_undamaged": 0.0,
            "holder_flat": 0.0,
            "flow_direction": 0.0,
            "finger_tight_start": 0.5,
            "gap_even": 1.5,
            "final_pass": 0.0,
            "studs_lubricated": 0.6,
            "studs_good": 0.0,
            "gasket_suitable": 0.9,
            "torque_low": 1.1,
            "torque_high": 0.7,
        }
    )
    defect_prevalence: dict[str, float] = field(
        default_factory=lambda: {
            "tag_matches": 0.010,
            "disc_undamaged": 0.040,
            "seat_clean": 0.170,
            "seat_undamaged": 0.070,
            "holder_flat": 0.045,
            "flow_direction": 0.004,
            "finger_tight_start": 0.180,
            "gap_even": 0.240,
            "final_pass": 0.220,
            "studs_lubricated": 0.180,
            "studs_good": 0.090,
            "gasket_suitable": 0.100,
        }
    )
    programme_factor: float = 0.40
    wear_shape: float = 2.6
    ratio_exponent: float = 7.0
    cycle_exponent: float = 0.25
    family_scale_years: dict[str, float] = field(
        default_factory=lambda: {
            "forward_plain": 4.6,
            "forward_scored": 8.0,
            "composite": 7.0,
            "reverse_scored": 14.0,
            "reverse_knife": 12.0,
            "graphite": 6.5,
        }
    )
    bad_lot_pace: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What made the logs.

    Attributes
    ----------
    parameters : Parameters
        The numbers of the hazards.
    lives : DataFrame
        One row per disc life touching the log: `life_id position_id crew lot ending age_years
        entry_years operating_ratio cycles_per_year owed install_log_rate wear_scale_years`, where
        `owed` is the expected share of a premature failure owed to its defects. [-]
    share_owed : float
        Mean of `owed` over premature failures of the log. [-]
    bad_lot : str
        The lot whose discs age four times as fast.
    cycles_per_year, operating_pressure_barg : dict of str to float
        Per position.
    """

    parameters: Parameters
    lives: pd.DataFrame
    share_owed: float
    bad_lot: str
    cycles_per_year: dict[str, float]
    operating_pressure_barg: dict[str, float]


def install_rate(parameters: Parameters, defects: np.ndarray) -> float:
    """Log rate of the installation hazard for a row of defects in the order of the effects."""
    effects = np.array(list(parameters.defect_effects.values()))
    return float(parameters.install_log_rate + effects @ defects)


def wear_scale(parameters: Parameters, family: str, ratio: float, cycles: float) -> float:
    """Characteristic life under wear alone. [years]"""
    return float(
        parameters.family_scale_years[family]
        * (ratio / 0.75) ** -parameters.ratio_exponent
        * (cycles / 100.0) ** -parameters.cycle_exponent
    )
