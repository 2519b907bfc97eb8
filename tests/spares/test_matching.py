import numpy as np
import pandas as pd
import pytest

from analytics.spares.matching import fits, last_day_of_use, match_stock

TODAY = pd.Timestamp("2025-06-01")


def positions(*rows) -> pd.DataFrame:
    columns = ["position_id", "store", "disc_code", "max_operating_pressure_barg"]
    return pd.DataFrame(rows, columns=columns).assign(back_pressure_barg=np.nan)


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
        "shelf_life_months": np.nan,
    }
    return pd.DataFrame([row | changes])


def stock(*rows) -> pd.DataFrame:
    columns = ["store", "disc_code", "lot", "marked_burst_pressure_barg", "quantity"]
    frame = pd.DataFrame(rows, columns=columns)
    return frame.assign(received_on=pd.NaT, expires_on=pd.NaT).astype(
        {"received_on": "datetime64[ns]", "expires_on": "datetime64[ns]"}
    )


def test_six_in_the_bin_are_two_for_these_positions():
    # Ratio at 8.8 barg: lot A, mark 10.4, least burst 9.88: 0.891, inside 0.9; lot B, mark
    # 10.0, least burst 9.5: 0.926, over; lot C, mark 10.6, above the top mark 10.5.
    bin_of_six = stock(
        ("north", "D1", "A", 10.4, 2), ("north", "D1", "B", 10.0, 3), ("north", "D1", "C", 10.6, 1)
    )

    found = match_stock(
        bin_of_six,
        positions(("P1", "north", "D1", 8.8), ("P2", "north", "D1", 8.8)),
        discs(),
        TODAY,
    )

    assert found.by_group.iloc[0].to_dict() == {
        "store": "north",
        "disc_code": "D1",
        "positions": 2,
        "stock": 6,
        "usable": 2,
        "covered": 2,
    }
    assert found.pieces["usable"].tolist() == [2, 0, 0]
    assert (
        found.pieces["note"].tolist()[1:]
        == ["fits no position: its mark or its kind suits none"] * 2
    )


def test_top_mark_itself_is_allowed():
    allowed = fits(
        stock(("north", "D1", "A", 10.5, 1), ("north", "D1", "B", 10.5001, 1)),
        positions(("P1", "north", "D1", 5.0)),
        discs(),
        TODAY,
    )

    assert allowed[:, 0].tolist() == [True, False]


def test_without_a_ratio_limit_the_range_is_the_window():
    allowed = fits(
        stock(("north", "D1", "A", 9.4, 1), ("north", "D1", "B", 9.5, 1)),
        positions(("P1", "north", "D1", 5.0), ("P2", "north", "D1", 9.1)),
        discs(max_operating_ratio=np.nan),
        TODAY,
    )

    # At 9.1 barg a mark of 9.5 may burst at 9.025: below operation.
    assert allowed.tolist() == [[False, False], [True, False]]


def test_maximum_matching_beats_first_come_first_served():
    # Lot A suits both positions, lot B only P1: giving A to P1 would leave P2 bare.
    pieces = stock(("north", "D1", "A", 10.4, 1), ("north", "D1", "B", 9.6, 1))

    found = match_stock(
        pieces,
        positions(("P1", "north", "D1", 8.0), ("P2", "north", "D1", 8.8)),
        discs(),
        TODAY,
    )

    assert found.uncovered == ()
    assert found.by_group["covered"].tolist() == [2]


def test_matching_equals_the_best_of_all_assignments():
    from itertools import permutations

    rng = np.random.default_rng(4)
    for _ in range(25):
        marks, pressures = rng.uniform(9.5, 10.5, 4), rng.uniform(8.2, 9.2, 4)
        pieces = stock(*[("north", "D1", str(i), mark, 1) for i, mark in enumerate(marks)])
        places = positions(*[(f"P{i}", "north", "D1", p) for i, p in enumerate(pressures)])

        allowed = fits(pieces, places, discs(), TODAY)
        best = max(sum(allowed[i, order[i]] for i in range(4)) for order in permutations(range(4)))

        found = match_stock(pieces, places, discs(), TODAY)
        assert found.by_group["covered"].sum() == best
        assert len(found.uncovered) == 4 - best


def test_a_like_disc_of_another_code_fits_and_an_unlike_one_does_not():
    table = pd.concat(
        [discs(), discs(disc_code="D2"), discs(disc_code="D3", material="silver")],
        ignore_index=True,
    )
    pieces = stock(("north", "D2", "A", 10.0, 1), ("north", "D3", "B", 10.0, 1))

    allowed = fits(pieces, positions(("P1", "north", "D1", 7.0)), table, TODAY)

    assert allowed[:, 0].tolist() == [True, False]


def test_blank_kind_never_makes_discs_alike():
    table = pd.concat([discs(material=None), discs(disc_code="D2", material=None)])
    pieces = stock(("north", "D2", "A", 10.0, 1))

    assert not fits(pieces, positions(("P1", "north", "D1", 7.0)), table, TODAY).any()


def test_expired_unmarked_and_misplaced_pieces_are_named():
    pieces = stock(
        ("north", "D1", "A", 10.0, 1),
        ("north", "D1", "B", np.nan, 1),
        ("south", "D1", "C", 10.0, 2),
        ("north", "D9", "D", 10.0, 4),
    )
    pieces.loc[0, "expires_on"] = pd.Timestamp("2025-05-31")
    found = match_stock(pieces, positions(("P1", "north", "D1", 7.0)), discs(), TODAY)

    assert found.pieces["note"].tolist() == [
        "past its last day of use",
        "no marked pressure on record: read the tag",
        "fits no position of this store, but others: move it",
        "fits no position: its mark or its kind suits none",
    ]
    assert found.pieces["serves_elsewhere"].tolist() == [0, 0, 1, 0]
    assert found.uncovered == ("P1",)


def test_shelf_life_stands_in_for_a_blank_expiry():
    pieces = stock(("north", "D1", "A", 10.0, 1))
    pieces["received_on"] = pd.Timestamp("2024-01-01")

    last = last_day_of_use(pieces, discs(shelf_life_months=12.0))

    assert last.iloc[0] == pd.Timestamp("2024-12-31")
    assert not fits(
        pieces, positions(("P1", "north", "D1", 7.0)), discs(shelf_life_months=12.0), TODAY
    ).any()


def test_negative_and_blank_quantities_count_as_none():
    pieces = stock(("north", "D1", "A", 10.0, -3), ("north", "D1", "B", 10.0, np.nan))

    found = match_stock(pieces, positions(("P1", "north", "D1", 7.0)), discs(), TODAY)

    assert found.by_group[["stock", "usable"]].to_numpy().tolist() == [[0, 0]]


def test_surplus_beyond_what_positions_can_call_for_is_said():
    # Lot A fits only P1; of its pieces no more than an even share can be called for.
    pieces = stock(("north", "D1", "A", 9.6, 5), ("north", "D1", "B", 10.4, 1))

    found = match_stock(
        pieces, positions(("P1", "north", "D1", 8.0), ("P2", "north", "D1", 8.8)), discs(), TODAY
    )

    assert found.pieces["usable"].tolist() == [3, 1]
    assert (
        found.pieces["note"].tolist()[0] == "more pieces than the positions they fit can call for"
    )


def test_empty_stock_leaves_every_position_bare():
    found = match_stock(stock(), positions(("P1", "north", "D1", 7.0)), discs(), TODAY)

    assert found.uncovered == ("P1",)
    assert found.by_group["usable"].tolist() == [0]


@pytest.mark.parametrize("order", [0, 1, 2])
def test_row_order_does_not_matter(order):
    rows = [
        ("north", "D1", "A", 10.4, 1),
        ("north", "D1", "B", 9.6, 2),
        ("north", "D1", "C", 10, 1),
    ]
    rows = rows[order:] + rows[:order]
    places = positions(("P1", "north", "D1", 8.0), ("P2", "north", "D1", 8.8))

    found = match_stock(stock(*rows), places, discs(), TODAY)

    assert found.by_group[["usable", "covered"]].to_numpy().tolist() == [[3, 2]]


@pytest.mark.parametrize(
    ("asked", "given", "good"),
    [
        (None, None, True),
        (None, "3.1", True),
        ("3.1", "3.1", True),
        ("3.1", None, False),
        ("3.1", "2.2", False),
        ("3.1 / NACE", "nace/3.1", True),
        ("3.1/NACE", "3.1", False),
    ],
)
def test_a_piece_without_the_certificates_asked_for_fits_nowhere(asked, given, good):
    pieces = stock(("north", "D1", "L1", 10.0, 3)).assign(certificate=given)
    places = positions(("P1", "north", "D1", 7.0)).assign(certificate_required=asked)

    found = match_stock(pieces, places, discs(), TODAY)

    assert found.by_group["usable"].tolist() == [3 if good else 0]
    note = found.pieces["note"].iloc[0]
    assert (note == "") if good else note.startswith("without the certificate")
