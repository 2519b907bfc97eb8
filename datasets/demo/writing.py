"""Tables to files: each with the units its keeper is used to."""

from pathlib import Path

import numpy as np
import pandas as pd

from analytics.logs.tables import TABLES, Kind
from analytics.units import convert_to

__all__ = ["write_tables"]

UNITS = {
    "back_pressure": "barg",
    "coincident_temperature": "degC",
    "disc_temperature": "degC",
    "downtime": "h",
    "gap_spread": "mm",
    "marked_burst_pressure": "barg",
    "max_operating_pressure": "barg",
    "torque_applied": "N.m",
    "torque_target": "N.m",
}
"""Unit in the header, unless a table has its own."""

OWN_UNITS = {
    ("discs", "specified_burst_pressure"): "psig",
    ("removals", "peak_pressure"): "kPag",
}
WORKBOOKS = ("discs", "stock")


def write_tables(folder: Path, tables: dict[str, pd.DataFrame]) -> None:
    """Write every table, two of them as workbooks, the rest as CSV."""
    for name, frame in tables.items():
        out = pd.DataFrame({_header(name, c): _values(name, c, frame) for c in frame.columns})
        if name in WORKBOOKS:
            out.to_excel(folder / f"{name}.xlsx", index=False)
        else:
            out.to_csv(folder / f"{name}.csv", index=False)


def _unit(table: str, column: str) -> str | None:
    return OWN_UNITS.get((table, column), UNITS.get(column))


def _header(table: str, column: str) -> str:
    unit = _unit(table, column)
    return f"{column} [{unit}]" if unit else column


def _values(table: str, column: str, frame: pd.DataFrame) -> pd.Series:
    declared = TABLES[table].column(column)
    values = frame[column]
    if declared.dimension is not None:
        unit = _unit(table, column)
        assert unit is not None, f"{column} needs a unit"
        plain = pd.to_numeric(values).to_numpy(dtype=float)
        converted = convert_to(plain, unit, declared.dimension)
        return pd.Series(
            np.round(converted, 3 if unit in ("barg", "psig") else 1 if unit != "mm" else 2)
        )
    if declared.kind is Kind.DATE and table in WORKBOOKS:
        return pd.to_datetime(values).dt.date
    return values
