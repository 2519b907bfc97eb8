"""The invented company, read from `company/`: discs, services, units, crews, and its calendar."""

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from analytics.units import BAR_PER_PSI

__all__ = [
    "CREWS",
    "DISCS",
    "EXPORT",
    "GROUP_MONTHS",
    "LOG_BEGINS",
    "ORIGIN",
    "PROGRAMME",
    "SERVICES",
    "TITLE",
    "TORQUE_ERA",
    "UNITS",
    "Crew",
    "Disc",
    "Service",
    "Unit",
    "burst_tolerance",
    "day",
    "iso",
]

TITLE = "Fennowick Intermediates"
ORIGIN = np.datetime64("2009-01-01")


def day(date: str) -> int:
    """Count days from the start of the world, 2009-01-01."""
    return int((np.datetime64(date) - ORIGIN).astype(int))


def iso(number: float) -> str:
    """Write a day count as an ISO date; blank for NaN."""
    return "" if np.isnan(number) else str(ORIGIN + np.timedelta64(int(number), "D"))


LOG_BEGINS = day("2017-01-01")
EXPORT = day("2026-09-30")
PROGRAMME = day("2023-01-01")
"""The installation programme: training, a torque wrench per crew, a second pair of eyes."""
TORQUE_ERA = day("2019-01-01")
"""Torque goes on the record from here."""

GROUP_MONTHS = {
    "harbour-east": 24,
    "harbour-west": 36,
    "mill-a": 24,
    "mill-b": 36,
    "ridge-north": 36,
    "ridge-south": 24,
    "fen-1": 30,
    "fen-2": 24,
}
"""Months between the planned outages of each group."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A purchasable disc code.

    Burst pressure in barg, range in percent, prices in EUR, lead time in weeks, shelf life in
    months (None: no limit), torque in N.m, temperature the burst pressure is stated at in degC.
    """

    code: str
    family: str
    size: str
    material: str
    burst: float
    minus_pct: float
    plus_pct: float
    max_ratio: float
    price: float
    lead: float
    lead_sd: float
    minimum: int
    lot_charge: float
    tests: int
    shelf: float | None
    holder: str
    torque: float
    temperature: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """What a line carries: cycles per year `low` to `high`, its disc codes, degrees Celsius."""

    name: str
    low: float
    high: float
    codes: tuple[str, ...]
    temperature: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A process unit: site, outage group, services, positions, upsets per year."""

    name: str
    site: str
    group: str
    services: tuple[str, ...]
    positions: int
    upsets: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """A crew: home site (None: comes for outages), defects against the mean, torque spread.

    `hardness` says how strongly the crew is sent to hard positions.
    """

    name: str
    site: str | None
    defects: float
    torque_sd: float
    hardness: float


def burst_tolerance(marked: np.ndarray | float) -> np.ndarray:
    """Tolerance on the marked burst pressure: 2 psi up to 40 psi, 5 % above. [bar]"""
    low = np.asarray(marked) <= 40 * BAR_PER_PSI + 1e-9
    return np.where(low, 2 * BAR_PER_PSI, 0.05 * np.asarray(marked))


def _rows(name: str) -> list[dict[str, Any]]:
    path = Path(__file__).parent / "company" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return [{k: _value(v) for k, v in row.items()} for row in csv.DictReader(file)]


def _value(text: str) -> Any:
    """Blank to None, `a / b` to a tuple, digits to a number."""
    if " / " in text:
        return tuple(_value(part) for part in text.split(" / "))
    if not text:
        return None
    try:
        return float(text) if "." in text else int(text)
    except ValueError:
        return text


DISCS = tuple(Disc(**row) for row in _rows("discs"))
SERVICES = {row["name"]: Service(**row) for row in _rows("services")}
UNITS = tuple(Unit(**row) for row in _rows("units"))
CREWS = tuple(Crew(**row) for row in _rows("crews"))
