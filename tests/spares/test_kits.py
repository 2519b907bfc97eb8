import numpy as np
import pandas as pd
import pytest

from analytics.spares.kits import kit_size, turnaround_kits
from analytics.spares.policy import Terms

TODAY = pd.Timestamp("2025-06-02")
TERMS = {"D1": Terms(unit_price=100.0, lead_time_weeks=10.0, lead_time_sd_weeks=2.0)}


def due(*rows) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["turnaround_group", "starts_on", "store", "disc_code"])
    return frame.assign(starts_on=pd.to_datetime(frame["starts_on"]))


def usable(count: int) -> pd.DataFrame:
    return pd.DataFrame(
        {"store": ["north"], "disc_code": ["D1"], "usable": [count], "on_order": [1]}
    )


def test_reserve_holds_as_often_as_promised():
    kit = kit_size(30, TERMS["D1"], fitting_loss=0.05, confidence=0.95)

    spoilt = np.random.default_rng(3).negative_binomial(30, 0.95, 200_000)
    assert (spoilt <= kit.reserve).mean() >= 0.95
    assert (spoilt <= kit.reserve - 1).mean() < 0.95


def test_freeze_covers_a_slow_delivery_and_the_inspection():
    # 10 + 1.645 x 2 + 2 weeks.
    assert kit_size(1, TERMS["D1"], fitting_loss=0.03).freeze_weeks == pytest.approx(
        15.29, abs=0.01
    )


def test_first_turnaround_draws_first_on_what_is_there():
    kits = turnaround_kits(
        due(
            *[("autumn", "2025-10-06", "north", "D1")] * 4,
            *[("spring", "2026-03-02", "north", "D1")] * 3,
        ),
        TERMS,
        usable(5),
        TODAY,
        fitting_loss=0.0,
    )

    assert kits["planned"].tolist() == [4, 3]
    assert kits["in_hand"].tolist() == [4, 2]
    assert kits["missing"].tolist() == [0, 1]
    assert kits["freeze_on"].iloc[0] == pd.Timestamp("2025-06-20")
    assert kits["days_to_freeze"].iloc[0] == 18


def test_nothing_due_gives_an_empty_list_with_its_columns():
    kits = turnaround_kits(due(), TERMS, usable(5), TODAY)

    assert kits.empty
    assert "freeze_on" in kits.columns
