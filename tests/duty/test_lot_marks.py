import numpy as np
import pandas as pd
import pytest

from analytics.duty.lot_marks import settle_marks


def settled(marks: list[float], *, lots: str | list[str] = "L", stock: list[float] = ()):
    def table(values, lots):
        return pd.DataFrame(
            {"disc_code": "D", "lot": lots, "marked_burst_pressure_barg": values}, dtype=object
        )

    lots = [lots] * len(marks) if isinstance(lots, str) else lots
    return settle_marks(table(marks, lots), table(list(stock), ["L"] * len(stock)))


def test_a_blank_takes_the_mark_of_its_lot():
    found = settled([8.2, 8.2, np.nan])

    assert found["marked_burst_pressure_barg"].tolist() == [8.2, 8.2, 8.2]
    assert found["mark_basis"].tolist() == ["tag", "tag", "lot"]


def test_pieces_in_stock_speak_for_their_lot_too():
    found = settled([np.nan], stock=[8.2, 8.2])

    assert found["marked_burst_pressure_barg"].tolist() == [8.2]


def test_one_record_against_one_is_left_alone():
    found = settled([8.2, 118.9])

    assert found["marked_burst_pressure_barg"].tolist() == [8.2, 118.9]
    assert found["mark_basis"].tolist() == ["tag", "tag"]


def test_rounding_is_no_contradiction():
    found = settled([8.20, 8.2, 8.21])

    assert found["marked_burst_pressure_barg"].tolist() == [8.20, 8.2, 8.21]


def test_another_lot_and_no_lot_stay_as_they_are():
    found = settled([8.2, 8.2, 9.0, np.nan], lots=["L", "L", "M", None])

    assert found["marked_burst_pressure_barg"].tolist()[2] == 9.0
    assert np.isnan(found["marked_burst_pressure_barg"].iloc[3])
    assert found["mark_basis"].iloc[3] is None


def test_a_quarrelling_lot_settles_nothing():
    found = settled([8.2, 8.2, 9.0, 9.0, 7.0, np.nan])

    assert found["marked_burst_pressure_barg"].tolist()[:5] == [8.2, 8.2, 9.0, 9.0, 7.0]
    assert found["mark_basis"].iloc[5] is None


@pytest.mark.parametrize("bad", [0.0, -1.0])
def test_a_mark_that_is_no_pressure_is_a_blank(bad):
    assert settled([bad, 8.2, 8.2])["mark_basis"].tolist() == ["lot", "tag", "tag"]
