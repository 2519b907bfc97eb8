"""What the form needs to know of the plant: positions, discs, lots and pieces left in stock."""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from analytics.installs.tag import Match, match_tag
from analytics.logs.mending import MENDS
from analytics.logs.reading import check_tables, files_of, read_raw_tables
from analytics.logs.recorded import TAKEN, less_taken, taken_of, version_of, with_records
from analytics.logs.settings import FILE_NAME, Settings, read_settings
from analytics.logs.tables import TABLES
from dashboard.recording.taking import Piece

__all__ = ["Plant"]

_NEEDED = ("positions", "discs", "stock")


class Plant:
    """The plant as its log folder describes it now; read again only when a file changed.

    Attributes
    ----------
    folder : Path
        The log folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._lock = threading.Lock()
        self._read: tuple[object, dict[str, pd.DataFrame]] | None = None

    @property
    def positions(self) -> list[str]:
        """Every position, in order."""
        return sorted(self._tables()["positions"]["position_id"])

    def disc_at(self, position: str) -> dict[str, Any]:
        """Give the row of the disc that a position needs; empty if none is on record."""
        tables = self._tables()
        places = tables["positions"]
        codes = places.loc[places["position_id"] == position, "disc_code"]
        rows = tables["discs"][tables["discs"]["disc_code"].isin(codes)]
        return rows.iloc[0].to_dict() if len(rows) else {}

    def lots_of(self, disc_code: str) -> frozenset[str]:
        """Give the lots of a disc code that the stores have on record."""
        stock = self._tables()["stock"]
        return frozenset(stock.loc[stock["disc_code"] == disc_code, "lot"].dropna())

    def pieces(self) -> list[Piece]:
        """List what the stores hold, less what installs recorded here took; none left included."""
        stock = self._tables()["stock"]
        if stock.empty:
            return []
        keys = stock[["store", "disc_code", "lot"]].fillna("")
        left = stock["quantity"].astype(float).groupby([keys[name] for name in keys]).sum()
        return [
            Piece(store=store, disc_code=code, lot=lot, left=int(number))
            for (store, code, lot), number in left.items()
        ]

    def stock_version(self) -> str:
        """Name the count of the stock that pieces are taken from."""
        settings = read_settings(self.folder)
        return version_of(files_of(TABLES["stock"], self.folder, settings))

    def matches(
        self, entries: dict[str, Any], show: Callable[[float], str] | None = None
    ) -> tuple[Match, ...]:
        """Compare the tag as entered with the disc the position needs; `show` writes pressures."""
        disc = self.disc_at(str(entries.get("position_id") or ""))
        tag = {
            "disc_code": entries.get("disc_code"),
            "family": entries.get("family"),
            "nominal_size": entries.get("nominal_size"),
            "marked_burst_pressure_barg": entries.get("marked_burst_pressure"),
            "coincident_temperature_degc": entries.get("coincident_temperature"),
            "lot": entries.get("lot"),
        }
        lots = self.lots_of(str(disc.get("disc_code", "")))
        return match_tag(disc, tag, lots, show) if show else match_tag(disc, tag, lots)

    def _tables(self) -> dict[str, pd.DataFrame]:
        settings, _ = with_records(read_settings(self.folder), self.folder)
        state = self._state(settings)
        with self._lock:
            if self._read is None or self._read[0] != state:
                raws = read_raw_tables(self.folder, settings, only=_NEEDED)
                tables = check_tables(raws, settings).tables
                taken = taken_of(self.folder, self.stock_version())
                self._read = state, tables | {"stock": less_taken(tables["stock"], taken)}
            return self._read[1]

    def _state(self, settings: Settings) -> object:
        """What the files look like from outside; it differs once one of them changed."""
        files = [path for name in _NEEDED for path in files_of(TABLES[name], self.folder, settings)]
        files += [self.folder / name for name in (FILE_NAME, MENDS, TAKEN)]
        return [
            (path.name, path.stat().st_mtime_ns, path.stat().st_size)
            for path in files
            if path.is_file()
        ]
