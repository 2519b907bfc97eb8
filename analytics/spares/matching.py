"""Which pieces in stock can serve which positions today?

Six in the bin may be two for these positions: discs of one code come in lots,
each lot with its own marked burst pressure, and a position takes only marks
that keep its operating ratio within the limit and stay below its top mark, and
where it asks for certificates, only lots that came with them.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components, maximum_bipartite_matching

from analytics.days import day_spans
from analytics.duty.ratio import operating_ratio

__all__ = ["Matching", "fits", "last_day_of_use", "match_stock"]

_DAYS_PER_MONTH = 365.25 / 12
_MADE_ALIKE = ("family", "nominal_size", "material", "holder_series")


@dataclass(frozen=True, slots=True, kw_only=True)
class Matching:
    """What the stock is good for.

    Attributes
    ----------
    pieces : DataFrame
        One row per stock row, same index: `store disc_code lot quantity expires_on usable
        serves_here serves_elsewhere note`. `usable` pieces find a position of
        their own store at the same time as all others; `serves_` counts
        positions; `note` says in words why a piece is of no use.
    by_group : DataFrame
        One row per store and disc code that has positions: `store disc_code
        positions stock usable covered`: pieces on the shelf, pieces that find
        a place, and positions that can have a piece at the same time.
    lots : DataFrame
        Usable pieces by the group they serve and their last day of use:
        `store disc_code expires_on usable`.
    uncovered : tuple of str
        Positions that no piece is left for.
    """

    pieces: pd.DataFrame
    by_group: pd.DataFrame
    lots: pd.DataFrame
    uncovered: tuple[str, ...]


def fits(
    stock: pd.DataFrame, positions: pd.DataFrame, discs: pd.DataFrame, today: pd.Timestamp
) -> NDArray[np.bool_]:
    r"""Tell for every stock row and position whether the piece may be fitted there.

    A piece fits when it is of the position's code, or of one with the same
    family, size, material and holder; its mark keeps the operating ratio
    P / (M - tolerance) within the disc's limit; the mark is not above the top
    of the position's range, S (1 + plus); it has not expired; and it came with
    every certificate the position asks for.

    Parameters
    ----------
    stock : DataFrame, n rows
        Checked log `stock`.
    positions : DataFrame, m rows
        Checked log `positions`; the highest operating pressure, the back
        pressure, the disc code and the certificates asked for are read.
    discs : DataFrame
        Checked log `discs`, one row per code.
    today : Timestamp
        Date of the question; a piece may be fitted on its last day of use.

    Returns
    -------
    ndarray of bool, shape (n, m)
        Whether piece i may serve position j, wherever either of them is.

    Notes
    -----
    Without a limit on the ratio the bottom of the manufacturing range is the
    lowest mark allowed and the ratio must stay below 1. A piece without a mark
    fits nowhere until its tag is read. Whether a disc of another code is
    accepted stays the responsible engineer's decision.
    """
    return _suits(stock, positions, discs, today) & _certified(stock, positions)


def _suits(
    stock: pd.DataFrame, positions: pd.DataFrame, discs: pd.DataFrame, today: pd.Timestamp
) -> NDArray[np.bool_]:
    """Whether piece i may serve position j but for its certificates."""
    table = discs.drop_duplicates("disc_code").set_index("disc_code")
    wanted = table.reindex(positions["disc_code"])
    offered = table.reindex(stock["disc_code"])
    return (
        _same_disc(stock, positions, offered, wanted)
        & _mark_allowed(stock, positions, wanted)
        & _in_date(stock, discs, today)[:, None]
    )


def last_day_of_use(stock: pd.DataFrame, discs: pd.DataFrame) -> pd.Series:
    """Give the day a piece expires: as recorded, else receipt plus shelf life, else blank.

    Parameters
    ----------
    stock, discs : DataFrame
        Checked logs.

    Returns
    -------
    Series of datetime64, index of `stock`
        Last day of use.
    """
    life = discs.drop_duplicates("disc_code").set_index("disc_code")["shelf_life_months"]
    months = life.reindex(stock["disc_code"]).to_numpy(dtype=float)
    days = day_spans(months * _DAYS_PER_MONTH).floor("D")
    return stock["expires_on"].fillna(stock["received_on"] + days)


def match_stock(
    stock: pd.DataFrame, positions: pd.DataFrame, discs: pd.DataFrame, today: pd.Timestamp
) -> Matching:
    """Match the pieces of every store to the positions it supplies.

    A maximum matching in which each position may take its even share of the
    pieces it competes for, rounded up: no piece counts twice, and no more
    pieces count than positions can call for.

    Parameters
    ----------
    stock, positions, discs, today
        As for `fits`; a blank store of a position means it has no store.

    Returns
    -------
    Matching
        Per stock row, per store and disc code, and the positions left bare.

    References
    ----------
    .. [1] Hopcroft, J. E., Karp, R. M. (1973), "An n^(5/2) algorithm for maximum
       matchings in bipartite graphs", SIAM Journal on Computing 2, 225-231.
    """
    stock = stock.reset_index(drop=False)
    suits = _suits(stock, positions, discs, today)
    allowed = suits & _certified(stock, positions)
    quantity = stock["quantity"].fillna(0).clip(lower=0).to_numpy(dtype=np.int64)
    here = stock["store"].to_numpy()[:, None] == positions["store"].to_numpy()[None, :]
    own = allowed & here
    share = _even_share(own, quantity)
    taken = _matched(own, quantity, share)
    covered = _matched(own, quantity, np.minimum(share, 1)) > 0
    return Matching(
        pieces=_pieces(stock, suits, allowed, own, taken, _in_date(stock, discs, today)),
        by_group=_by_group(stock, positions, taken, covered, quantity),
        lots=_lots(stock, positions, discs, taken),
        uncovered=tuple(positions["position_id"].to_numpy()[~covered.any(axis=0)]),
    )


def _same_disc(
    stock: pd.DataFrame, positions: pd.DataFrame, offered: pd.DataFrame, wanted: pd.DataFrame
) -> NDArray[np.bool_]:
    same: NDArray[np.bool_] = (
        stock["disc_code"].to_numpy()[:, None] == positions["disc_code"].to_numpy()[None, :]
    )
    alike = np.ones(same.shape, dtype=bool)
    for column in _MADE_ALIKE:
        left, right = offered[column].to_numpy(), wanted[column].to_numpy()
        known = offered[column].notna().to_numpy()[:, None]
        alike &= known & (left[:, None] == right[None, :])
    return same | alike


def _mark_allowed(
    stock: pd.DataFrame, positions: pd.DataFrame, wanted: pd.DataFrame
) -> NDArray[np.bool_]:
    mark = stock["marked_burst_pressure_barg"].to_numpy(dtype=float)[:, None]
    limit = wanted["max_operating_ratio"].to_numpy(dtype=float)
    specified = wanted["specified_burst_pressure_barg"].to_numpy(dtype=float)
    minus, plus = (
        np.nan_to_num(wanted[f"range_{side}_pct"].to_numpy(dtype=float)) / 100
        for side in ("minus", "plus")
    )
    ratio = operating_ratio(
        positions["max_operating_pressure_barg"].to_numpy(dtype=float)[None, :],
        np.where(mark > 0, mark, np.nan),
        positions["back_pressure_barg"].to_numpy(dtype=float)[None, :],
    )
    # A hair of slack: 10 * 1.05 must not refuse a mark of 10.5.
    slack = 1 + 1e-9
    lowest = np.where(np.isnan(limit), specified * (1 - minus), 0.0)
    within = (ratio <= np.where(np.isnan(limit), 1.0, limit) * slack) & (mark * slack >= lowest)
    return np.asarray(within & (mark <= specified * (1 + plus) * slack))


def _certified(stock: pd.DataFrame, positions: pd.DataFrame) -> NDArray[np.bool_]:
    """Whether piece i came with every certificate that position j asks for."""
    given = _certificates(stock, "certificate")
    asked = _certificates(positions, "certificate_required")
    kinds = {words: number for number, words in enumerate(dict.fromkeys(asked))}
    enough = np.array([[words <= have for words in kinds] for have in given], dtype=bool)
    return enough.reshape(len(given), len(kinds))[:, [kinds[words] for words in asked]]


def _certificates(frame: pd.DataFrame, column: str) -> list[frozenset[str]]:
    """The certificates of each row as a set of words; empty where blank."""
    texts = frame[column] if column in frame else pd.Series(None, index=frame.index)
    words = texts.fillna("").astype(str).str.casefold().str.replace(" ", "")
    return [frozenset(filter(None, text.split("/"))) for text in words]


def _in_date(stock: pd.DataFrame, discs: pd.DataFrame, today: pd.Timestamp) -> NDArray[np.bool_]:
    expires = last_day_of_use(stock, discs)
    return np.asarray(expires.isna() | (expires >= today), dtype=bool)


def _even_share(own: NDArray[np.bool_], quantity: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pieces each position may take: those it competes for by positions that compete."""
    n_rows, n_positions = own.shape
    graph = csr_array(
        (np.ones(int(own.sum())), (np.nonzero(own)[0], n_rows + np.nonzero(own)[1])),
        shape=(n_rows + n_positions,) * 2,
    )
    _, label = connected_components(graph, directed=False)
    pieces = np.bincount(label[:n_rows], weights=quantity, minlength=label.max(initial=0) + 1)
    rivals = np.bincount(label[n_rows:], minlength=label.max(initial=0) + 1)
    share = np.ceil(pieces / np.maximum(rivals, 1))[label[n_rows:]]
    return np.asarray(np.where(own.any(axis=0), share, 0), dtype=np.int64)


def _matched(
    own: NDArray[np.bool_], quantity: NDArray[np.int64], slots: NDArray[np.int64]
) -> NDArray[np.int64]:
    """Pieces of each row given to each position, shape (n_rows, n_positions)."""
    row = np.repeat(np.arange(len(quantity)), quantity)
    slot = np.repeat(np.arange(len(slots)), slots)
    given = np.zeros(own.shape, dtype=np.int64)
    if row.size == 0 or slot.size == 0:
        return given
    pairs = csr_array(own.astype(np.int8))[row][:, slot]
    partner = maximum_bipartite_matching(pairs, perm_type="column")
    found = partner >= 0
    np.add.at(given, (row[found], slot[partner[found]]), 1)
    return given


def _pieces(
    stock: pd.DataFrame,
    suits: NDArray[np.bool_],
    allowed: NDArray[np.bool_],
    own: NDArray[np.bool_],
    taken: NDArray[np.int64],
    in_date: NDArray[np.bool_],
) -> pd.DataFrame:
    result = stock[["index", "store", "disc_code", "lot", "quantity", "expires_on"]].copy()
    result["usable"] = taken.sum(axis=1)
    result["serves_here"] = own.sum(axis=1)
    result["serves_elsewhere"] = allowed.sum(axis=1) - own.sum(axis=1)
    marked = stock["marked_burst_pressure_barg"].notna().to_numpy()
    cases = [
        ~in_date,
        ~marked,
        suits.any(axis=1) & ~allowed.any(axis=1),
        ~allowed.any(axis=1),
        ~own.any(axis=1),
        result["usable"].to_numpy() < stock["quantity"].fillna(0).to_numpy(dtype=float),
    ]
    words = [
        "past its last day of use",
        "no marked pressure on record: read the tag",
        "without the certificate its positions ask for: find it, or ask the maker",
        "fits no position: its mark or its kind suits none",
        "fits no position of this store, but others: move it",
        "more pieces than the positions they fit can call for",
    ]
    result["note"] = np.select(cases, words, default="")
    return result.set_index("index").rename_axis(None)


def _by_group(
    stock: pd.DataFrame,
    positions: pd.DataFrame,
    taken: NDArray[np.int64],
    covered: NDArray[np.bool_],
    quantity: NDArray[np.int64],
) -> pd.DataFrame:
    keys = ["store", "disc_code"]
    per_position = positions[keys].assign(
        positions=1, usable=taken.sum(axis=0), covered=covered.any(axis=0).astype(int)
    )
    groups = per_position.groupby(keys)[["positions", "usable", "covered"]].sum()
    shelf = stock[keys].assign(stock=quantity).groupby(keys)["stock"].sum()
    groups["stock"] = shelf.reindex(groups.index).fillna(0).astype(int)
    return groups.reset_index()[[*keys, "positions", "stock", "usable", "covered"]]


def _lots(
    stock: pd.DataFrame, positions: pd.DataFrame, discs: pd.DataFrame, taken: NDArray[np.int64]
) -> pd.DataFrame:
    row, column = np.nonzero(taken)
    lots = positions[["store", "disc_code"]].iloc[column].reset_index(drop=True)
    lots["expires_on"] = last_day_of_use(stock, discs).to_numpy()[row]
    lots["usable"] = taken[row, column]
    keys = ["store", "disc_code", "expires_on"]
    return lots.groupby(keys, dropna=False)["usable"].sum().reset_index()
