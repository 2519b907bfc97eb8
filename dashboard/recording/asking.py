"""What the form needs to know of the plant: positions, discs and lots, read from the logs."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from analytics.installs.tag import Match, match_tag
from analytics.logs.reading import read_logs

__all__ = ["Plant"]


@dataclass(frozen=True)
class Plant:
    """The plant as its log folder describes it; read once, when first asked.

    Attributes
    ----------
    folder : Path
        The log folder.
    """

    folder: Path

    @cached_property
    def _tables(self) -> dict[str, pd.DataFrame]:
        return read_logs(self.folder).tables

    @cached_property
    def positions(self) -> list[str]:
        """Every position, in order."""
        return sorted(self._tables["positions"]["position_id"])

    def disc_at(self, position: str) -> dict[str, Any]:
        """Give the row of the disc that a position needs; empty if none is on record."""
        places = self._tables["positions"]
        codes = places.loc[places["position_id"] == position, "disc_code"]
        discs = self._tables["discs"]
        rows = discs[discs["disc_code"].isin(codes)]
        return rows.iloc[0].to_dict() if len(rows) else {}

    def lots_of(self, disc_code: str) -> frozenset[str]:
        """Give the lots of a disc code that the stores have on record."""
        stock = self._tables["stock"]
        return frozenset(stock.loc[stock["disc_code"] == disc_code, "lot"].dropna())

    def matches(self, entries: dict[str, Any]) -> tuple[Match, ...]:
        """Compare the tag as entered with the disc the position needs."""
        disc = self.disc_at(str(entries.get("position_id") or ""))
        tag = {
            "disc_code": entries.get("disc_code"),
            "family": entries.get("family"),
            "nominal_size": entries.get("nominal_size"),
            "marked_burst_pressure_barg": entries.get("marked_burst_pressure"),
            "coincident_temperature_degc": entries.get("coincident_temperature"),
            "lot": entries.get("lot"),
        }
        return match_tag(disc, tag, self.lots_of(str(disc.get("disc_code", ""))))
