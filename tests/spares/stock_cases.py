"""Log tables and demand as small as a stock question needs."""

import numpy as np
import pandas as pd
from scipy.stats import poisson

from analytics.spares.demand import DemandForecast, GroupDemand

TODAY = pd.Timestamp("2025-06-02")


def steady(per_week: float, *, n_weeks: int = 104, store="north", code="D1") -> GroupDemand:
    """Give Poisson demand at a constant rate."""
    weeks = np.arange(n_weeks + 1)
    size = int(poisson.isf(1e-12, per_week * n_weeks)) + 3 if per_week else 2
    nothing = np.zeros(n_weeks + 1)
    return GroupDemand(
        store=store,
        disc_code=code,
        n_positions=4,
        pmf=poisson.pmf(np.arange(size), per_week * weeks[:, None]),
        planned=nothing,
        premature=per_week * weeks,
        upset=nothing,
        unclear=nothing,
        fitting=nothing,
    )


def forecast(*groups: GroupDemand) -> DemandForecast:
    return DemandForecast(groups=groups, n_weeks=104, step_weeks=4.0, error=0.0)


def positions(n: int = 4, *, criticality="B", store="north", code="D1") -> pd.DataFrame:
    return pd.DataFrame(
        {
            "position_id": [f"{store} {i}" for i in range(n)],
            "store": store,
            "disc_code": code,
            "criticality": criticality,
            "max_operating_pressure_barg": 7.0,
            "back_pressure_barg": np.nan,
        }
    )


def discs(**changes) -> pd.DataFrame:
    row = {
        "disc_code": "D1",
        "family": "forward_scored",
        "nominal_size": "DN80",
        "material": "316",
        "holder_series": "H2",
        "specified_burst_pressure_barg": 10.0,
        "range_minus_pct": 5.0,
        "range_plus_pct": 5.0,
        "max_operating_ratio": 0.9,
        "unit_price": 100.0,
        "lead_time_weeks": 8.0,
        "lead_time_sd_weeks": 0.0,
        "minimum_order": 1,
        "lot_charge": 0.0,
        "test_discs": 0,
        "shelf_life_months": np.nan,
    }
    return pd.DataFrame([row | changes])


def stock(*rows) -> pd.DataFrame:
    """Rows of (store, code, lot, mark, quantity, expires_on)."""
    columns = ["store", "disc_code", "lot", "marked_burst_pressure_barg", "quantity", "expires_on"]
    frame = pd.DataFrame(rows, columns=columns).assign(received_on=pd.NaT)
    for column in ("received_on", "expires_on"):
        frame[column] = pd.to_datetime(frame[column])
    return frame


def orders(*rows) -> pd.DataFrame:
    """Rows of (order, store, code, quantity, due_on)."""
    frame = pd.DataFrame(rows, columns=["order_id", "store", "disc_code", "quantity", "due_on"])
    return frame.assign(due_on=pd.to_datetime(frame["due_on"]))
