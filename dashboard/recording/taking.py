"""The piece an install uses: chosen from the stock, taken off it when the record is signed."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["ELSEWHERE", "Piece", "piece_for", "piece_problem", "piece_said"]

ELSEWHERE = "elsewhere"
"""The choice that says the disc came from no store on record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Pieces of one lot in one store.

    Attributes
    ----------
    store, disc_code, lot : str
        What they are; lot blank when the stock table gives none.
    left : int
        How many are there now.
    """

    store: str
    disc_code: str
    lot: str
    left: int

    @property
    def name(self) -> str:
        """What names it in a form."""
        return json.dumps([self.store, self.disc_code, self.lot], ensure_ascii=False)

    @property
    def label(self) -> str:
        """What a reader sees.

        Examples
        --------
        >>> Piece(store="ST-N", disc_code="FS-100-06", lot="L7", left=2).label
        'FS-100-06, lot L7, in ST-N: 2 left'
        """
        return f"{self.disc_code}, {_lot(self.lot)}, in {self.store}: {self.left} left"


def piece_for(entries: Mapping[str, Any], pieces: Sequence[Piece]) -> Piece | None:
    """Give the piece a record uses: the one chosen, else the only one that the tag names.

    Parameters
    ----------
    entries : mapping
        `piece` as chosen, `disc_code` and `lot` as read off the tag.
    pieces : sequence of Piece
        What the stores hold.
    """
    chosen = entries.get("piece")
    if chosen:
        return next((piece for piece in pieces if piece.name == chosen), None)
    tag = (entries.get("disc_code") or "", entries.get("lot") or "")
    fits = [piece for piece in pieces if (piece.disc_code, piece.lot) == tag and piece.left > 0]
    return fits[0] if len(fits) == 1 else None


def piece_problem(entries: Mapping[str, Any], pieces: Sequence[Piece]) -> str:
    """Say what keeps the piece from being taken; blank when it can be, or no stock is on record."""
    if not pieces or entries.get("piece") == ELSEWHERE:
        return ""
    piece = piece_for(entries, pieces)
    if piece is None:
        return "choose the piece that was taken from the storeroom, or say it came from elsewhere"
    code, lot = entries.get("disc_code") or "", entries.get("lot") or ""
    if piece.disc_code != code or (piece.lot and piece.lot != lot):
        return (
            f"the piece taken is {piece.disc_code}, {_lot(piece.lot)}; the tag reads"
            f" {code or 'nothing'}, {_lot(lot)}: choose the piece that was fitted"
        )
    if piece.left < 1:
        return (
            f"{piece.store} has no piece of {piece.disc_code}, {_lot(piece.lot)}, left: choose"
            " another, say it came from elsewhere, or have the stock counted"
        )
    return ""


def piece_said(entries: Mapping[str, Any], pieces: Sequence[Piece]) -> str:
    """Say which piece signing will take, or why none can be taken yet."""
    if not pieces:
        return "No stock is on record, so no piece is taken off it."
    if entries.get("piece") == ELSEWHERE:
        return "From elsewhere: no piece is taken off the stock."
    problem, piece = piece_problem(entries, pieces), piece_for(entries, pieces)
    if problem or piece is None:
        return f"{problem[:1].upper()}{problem[1:]}."
    return f"Signing takes one piece: {piece.label} now, {piece.left - 1} after."


def _lot(lot: str) -> str:
    return f"lot {lot}" if lot else "no lot on record"
