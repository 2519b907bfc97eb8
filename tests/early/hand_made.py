"""A small plant written down by hand, and a life model whose every parameter is known."""

import numpy as np
import pandas as pd

from analytics.installs.checklist import DEFECTS
from analytics.survival.fleet_data import fleet_data
from analytics.survival.model import LifeModel
from analytics.survival.two_hazard_draws import TwoHazardDraws

BEGINS = pd.Timestamp("2018-01-01")
EXPORT = pd.Timestamp("2022-01-01")
RATE, SHAPE, SCALE, WEAR_SHAPE, EXPONENT = 0.05, 0.5, 9.0, 3.0, -6.0


def plant(positions: int = 24, *, crews: int = 4) -> pd.DataFrame:
    """Give a lives frame: two discs a position, the first failed after 0.2 to 2 years.

    Gap amiss on every second first disc, seat on every third, nothing else ever; the second
    disc of a position is clean, in service, and its checks are all on record.
    """
    rows = []
    for i in range(positions):
        age = 0.2 + 1.8 * i / positions
        first = {"gap_even": i % 2 != 0, "seat_clean": i % 3 != 0}
        rows += [
            _life(i, crews, 0.0, age, "premature", first),
            _life(i, crews, age, 4.0, "in_service"),
        ]
    return pd.DataFrame(rows).astype(dict.fromkeys(DEFECTS, "boolean"))


def _life(i, crews, start, end, ending, checks=None):
    age = end - start
    begun, over = (BEGINS + pd.Timedelta(days=365.25 * t) for t in (start, end))
    return (
        {
            "life_id": f"I{i:02d}{'b' if start else 'a'}",
            "position_id": f"P{i:02d}",
            "site": "east" if i % 2 else "west",
            "unit": f"P{i:02d}",
            "service": "gas",
            "disc_code": "D1",
            "family": "forward",
            "crew": f"crew {i % crews}",
            "lot": f"L{i // 6}",
            "installed_on": begun,
            "observed_from": begun,
            "ended_on": min(over, EXPORT),
            "ending": ending,
            "reason": "burst" if ending == "premature" else None,
            "entry_years": 0.0,
            "age_years": age,
            "lower_years": age,
            "upper_years": age,
            "age_known": True,
            "operating_ratio": 0.6 + 0.36 * i / 24 if i < 24 else 0.7,
            "cycles_per_year": 300.0,
            "cost": 1000.0 + i,
            "peak_pressure_barg": np.nan,
            "checks_passed": 13,
            "checks_recorded": 14,
        }
        | {name: True for name in DEFECTS}
        | (checks or {})
    )


def fitted(
    lives: pd.DataFrame, *, gap=1.5, seat=0.7, rate=RATE, exponent=EXPONENT, scale=SCALE, n_draws=8
):
    """Give the fleet's data and a model of known parameters, all draws alike."""
    fleet = fleet_data(lives, lives["ending"].eq("premature").astype(float))
    effect = {"gap_even": gap, "seat_clean": seat}
    ones = np.ones(n_draws)
    draws = TwoHazardDraws(
        install_log_rate=np.log(rate) * ones if rate else -np.inf * ones,
        install_shape=SHAPE * ones,
        defect_effects=np.outer(ones, [effect[name] for name in fleet.data.defect_names]),
        first_defect_effect=0 * ones,
        install_effects=np.zeros((n_draws, 0)),
        wear_location=np.log(scale) * ones,
        wear_sigma=ones / WEAR_SHAPE,
        wear_effects=np.outer(ones, [exponent] * len(fleet.data.wear_names)),
        wear_defect_effects=np.zeros((n_draws, len(fleet.data.defect_names))),
    )
    model = LifeModel(
        name="by hand",
        two_hazard=None,
        hazard_draws=draws,
        regression=None,
        regression_draws=None,
        why="",
        fit_statement="",
        warnings=(),
    )
    return fleet, model
