"""The places where discs sit, their duty, their outages and the lots that were bought."""

import numpy as np
import pandas as pd

from datasets.demo.world import (
    DISCS,
    EXPORT,
    GROUP_MONTHS,
    SERVICES,
    UNITS,
    Unit,
    burst_tolerance,
    day,
)

__all__ = ["BY_CODE", "MONTH", "make_lots", "make_outages", "make_positions"]

BY_CODE = {disc.code: disc for disc in DISCS}
MONTH = 30.4375
"""Days in a month of a twelfth of 365.25 days."""


def make_positions(rng: np.random.Generator) -> pd.DataFrame:
    """Place every disc; columns beginning with `true_` never reach the logs."""
    frame = pd.DataFrame([row for unit in UNITS for row in _unit_rows(unit, rng)])
    frame["position_id"] = [
        f"{unit}-{n:03d}" for unit, n in zip(frame["unit"], _running(frame), strict=True)
    ]
    above = rng.permutation(len(frame))[:9]
    frame["true_pressure"] = frame["max_operating_pressure"]
    frame.loc[above, "true_pressure"] *= rng.uniform(1.05, 1.11, len(above))
    ceiling = 0.97 * _least_burst(frame)
    frame["true_pressure"] = np.minimum(frame["true_pressure"], ceiling)
    return frame


def _running(frame: pd.DataFrame) -> np.ndarray:
    return np.asarray(frame.groupby("unit").cumcount() * 5 + 5)


def _least_burst(frame: pd.DataFrame) -> np.ndarray:
    low = np.array([BY_CODE[c].burst * (1 - BY_CODE[c].minus_pct / 100) for c in frame.disc_code])
    return low - burst_tolerance(low)


def _unit_rows(unit: Unit, rng: np.random.Generator) -> list[dict[str, object]]:
    started = day("2009-06-01") + rng.integers(-4 * 365, 4 * 365)
    return [_place(unit, started, rng) for _ in range(unit.positions)]


def _place(unit: Unit, started: int, rng: np.random.Generator) -> dict[str, object]:
    service = SERVICES[str(rng.choice(unit.services))]
    disc = BY_CODE[str(rng.choice(service.codes))]
    cycles = float(np.exp(rng.uniform(np.log(service.low), np.log(service.high))))
    middle = disc.burst * (1 + (disc.plus_pct - disc.minus_pct) / 200)
    ratio = np.clip(disc.max_ratio * rng.triangular(0.58, 0.93, 1.10), 0.45, 0.94)
    pressure = float(ratio * (middle - burst_tolerance(middle)))
    criticality = str(rng.choice(["A", "B", "C"], p=[0.35, 0.4, 0.25]))
    policy = _policy(cycles, criticality, rng)
    late = rng.random() < 0.08
    began = day("2018-01-01") + rng.integers(0, 1600) if late else started + rng.integers(0, 90)
    planned = disc.price + float(rng.uniform(450, 1300))
    burden = {"A": 5.2, "B": 2.6, "C": 1.4}[criticality] * 7000
    return {
        "position_id": "",
        "site": unit.site,
        "unit": unit.name,
        "service": service.name,
        "disc_code": disc.code,
        "criticality": criticality,
        "max_operating_pressure": round(pressure, 2 if pressure > 2 else 3),
        "back_pressure": round(float(rng.uniform(0.01, 0.04)), 3) if rng.random() < 0.1 else np.nan,
        "disc_temperature": _disc_temperature(disc.temperature, service.temperature, rng.random()),
        "in_service_from": int(began),
        "cap_interval_months": _cap(policy, GROUP_MONTHS[unit.group], rng),
        "turnaround_group": unit.group,
        "planned_cost": round(planned, -1),
        "unplanned_cost": round(float(burden * rng.lognormal(0, 0.45)) + planned, -2),
        "store": unit.site,
        "true_cycles": cycles,
        "true_policy": policy,
    }


def _disc_temperature(tag: float, service: tuple[float, float], chance: float) -> int:
    """Near the tag's at most positions; one in twenty is hotter or colder than was ordered."""
    if chance < 0.05:
        return round(service[0] + chance / 0.05 * (service[1] - service[0]))
    return round(tag + (chance - 0.525) * 16)


def _policy(cycles: float, criticality: str, rng: np.random.Generator) -> str:
    """How the site replaces this disc today."""
    if cycles > 300 and rng.random() < 0.30:
        return "yearly"
    weights = {"A": (0.62, 0.30, 0.08), "B": (0.48, 0.30, 0.22), "C": (0.28, 0.27, 0.45)}
    return str(rng.choice(["each", "second", "none"], p=weights[criticality]))


def _cap(policy: str, months: int, rng: np.random.Generator) -> float:
    """The smallest cap on record; NaN where nobody wrote one down."""
    if rng.random() < 0.12:
        return np.nan
    own = {"yearly": 24, "each": months, "second": 2 * months, "none": 60}[policy]
    allowed = np.array([24, 36, 48, 60])
    return float(allowed[min(np.searchsorted(allowed, own) + rng.integers(0, 2), 3)])


def make_outages(rng: np.random.Generator) -> pd.DataFrame:
    """Planned outages per group from 2010 to three years past the export."""
    rows = []
    for group, months in GROUP_MONTHS.items():
        start = day("2010-03-01") + int(rng.integers(0, 700))
        while start < EXPORT + 3 * 365.25 + months * MONTH:
            length = int(rng.integers(12, 30))
            rows.append({"turnaround_group": group, "starts_on": start, "ends_on": start + length})
            start += round(months * MONTH) + int(rng.integers(-25, 60))
    frame = pd.DataFrame(rows)
    return frame[frame["starts_on"] < EXPORT + 3 * 365.25].reset_index(drop=True)


def make_lots(rng: np.random.Generator) -> pd.DataFrame:
    """Lots bought over the years: one lot, one mark, within the manufacturing range."""
    rows = []
    for disc in DISCS:
        received = day("2009-01-01") - int(rng.integers(500, 900))
        while received < EXPORT - 40:
            place = rng.beta(2.2, 2.2)
            mark = disc.burst * (
                1 - disc.minus_pct / 100 + place * (disc.minus_pct + disc.plus_pct) / 100
            )
            rows.append(
                {"disc_code": disc.code, "received": received, "marked": float(f"{mark:.3g}")}
            )
            received += int(rng.integers(230, 520))
    frame = pd.DataFrame(rows)
    frame["lot"] = [f"L{40127 + 13 * k}" for k in rng.permutation(len(frame))]
    return frame
