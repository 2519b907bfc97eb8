"""Laws and frames that the tests of the intervals share."""

import numpy as np
import pandas as pd

from analytics.survival.law import Family, LifeLaw

EXPORT = pd.Timestamp("2026-09-30")


def wear_only(shape: float, scale: float = 1.0, family: Family = Family.WEIBULL) -> LifeLaw:
    """One draw, one unit, no installation hazard."""
    one = np.ones((1, 1))
    return LifeLaw(
        family=family,
        wear_location=np.log(scale) * one,
        wear_sigma=one / shape,
        install_log_rate=-np.inf * one,
        install_shape=one,
    )


def some_law(
    family: Family = Family.WEIBULL, draws: int = 6, units: int = 5, seed: int = 1
) -> LifeLaw:
    """Draws and units around a wear life of e^1.6 = 5 years with some installation hazard."""
    rng = np.random.default_rng(seed)
    sigma = np.exp(rng.normal(-0.9, 0.15, (draws, 1)))
    return LifeLaw(
        family=family,
        wear_location=rng.normal(1.6, 0.5, (1, units)) + rng.normal(0, 0.1, (draws, units)),
        wear_sigma=np.ones((draws, 1)) if family is Family.EXPONENTIAL else sigma,
        install_log_rate=rng.normal(-3.0, 0.3, (draws, units)),
        install_shape=rng.uniform(0.5, 0.7, (draws, 1)),
    )


def one_of(law: LifeLaw, draw: int, unit: int) -> LifeLaw:
    """Take one draw of one unit."""
    names = ("wear_location", "wear_sigma", "install_log_rate", "install_shape")
    full = np.broadcast_arrays(*(getattr(law, name) for name in names))
    cell = {n: f[draw : draw + 1, unit : unit + 1] for n, f in zip(names, full, strict=True)}
    return LifeLaw(family=law.family, **cell)


def places(n: int, **columns: object) -> pd.DataFrame:
    """Positions with the disc each holds today."""
    frame = pd.DataFrame(
        {
            "position_id": [f"P{k}" for k in range(n)],
            "site": "mill",
            "unit": "M10",
            "disc_code": "BD-1",
            "cap_interval_months": 60.0,
            "turnaround_group": "g",
            "planned_cost": 1_000.0,
            "unplanned_cost": 12_000.0,
            "installed_on": EXPORT - pd.Timedelta(days=365),
            "age_years": 365 / 365.25,
            "age_assumed": False,
        }
    )
    return frame.assign(**columns)


def habits(n: int, **columns: object) -> pd.DataFrame:
    """Today's practice of as many positions."""
    frame = pd.DataFrame(
        {
            "today_years": np.full(n, 4.0),
            "longest_years": np.full(n, 4.2),
            "planned_cost": 1_000.0,
            "unplanned_cost": 12_000.0,
            "demand_cost": 9_000.0,
            "demand_rate": 0.05,
            "inferred": "",
        }
    )
    return frame.assign(**columns)


def outages(*starts: str, group: str = "g") -> pd.DataFrame:
    """Outages of one group."""
    return pd.DataFrame(
        {
            "turnaround_group": pd.Series([group] * len(starts), dtype=object),
            "crew_limit": pd.array([pd.NA] * len(starts), dtype="Int64"),
            "starts_on": pd.to_datetime(list(starts)).astype("datetime64[ns]"),
        }
    )
