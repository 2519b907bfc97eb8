import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson

from analytics.spares.policy import quantile
from analytics.spares.upsets import (
    gamma_rate_draws,
    hits_in_group,
    upset_events,
    upset_rates,
)


def lives(rows) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["ending", "unit", "position_id", "event_group", "ended_on"])
    return frame.assign(ended_on=pd.to_datetime(frame["ended_on"]))


def test_bursts_of_one_group_are_one_upset():
    found = upset_events(
        lives(
            [
                ("demand", "U1", "P1", "E7", "2024-03-01"),
                ("demand", "U1", "P2", "E7", "2024-03-02"),
                ("demand", "U1", "P3", None, "2024-05-09"),
                ("demand", "U1", "P4", None, "2024-05-09"),
                ("demand", "U2", "P5", None, "2024-05-09"),
                ("demand", None, "P6", None, "2024-06-01"),
                ("premature", "U1", "P1", "E7", "2024-03-01"),
            ]
        )
    )

    assert found.values.tolist() == [
        ["P6", "2024-06-01", 1],
        ["U1", "2024-05-09", 2],
        ["U1", "E7", 2],
        ["U2", "2024-05-09", 1],
    ]


def test_mixed_poisson_of_gamma_draws_is_the_published_stock():
    # Gamma-Poisson with 4 events in 16 years, horizon 4 years: mean 1, 95 % needs 3 pieces
    # (0.96666), the negative binomial (4, 16/20) to 5 digits. Draws are 2,000 points of it.
    rates = gamma_rate_draws([4.0], 16.0, n_draws=2000)[:, 0]

    pmf = poisson.pmf(np.arange(40), 4 * rates[:, None]).mean(axis=0)

    assert pmf @ np.arange(40) == pytest.approx(1.0, abs=1e-9)
    assert quantile(pmf, 0.95) == 3
    assert pmf[:4].sum() == pytest.approx(0.96666, abs=5e-5)


def test_units_borrow_strength_from_the_fleet():
    events = pd.DataFrame(
        {"unit": ["U1"] * 6 + ["U2"], "event": range(7), "opened": [1, 1, 2, 1, 1, 3, 1]}
    )
    positions = pd.Series({"U1": 10, "U2": 10, "U3": 10, "U4": 10})

    rates = upset_rates(events, positions, 5.0, n_draws=400)

    mean = rates.events_per_year.mean(axis=0)
    assert mean[0] > mean[1] > mean[2] == pytest.approx(mean[3])
    # A unit without an upset keeps a rate above 0, the busiest one is drawn to the fleet.
    assert mean[2] > 0.02
    assert mean[0] < 6 / 5
    np.testing.assert_allclose(rates.opened, [6 / 8, 1 / 8, 1 / 8])


def test_many_upsets_leave_the_rate_to_the_data():
    events = pd.DataFrame({"unit": ["U1"] * 4000, "event": range(4000), "opened": [1] * 4000})

    rates = upset_rates(events, pd.Series({"U1": 5, "U2": 5}), 10.0, n_draws=200)

    assert rates.events_per_year[:, 0].mean() == pytest.approx(400, rel=0.01)


def test_hits_keep_the_mean_whatever_the_group():
    opened = np.array([0.5, 0.3, 0.2])

    for size in range(7):
        hits = hits_in_group(opened, 6, size)
        assert hits.sum() == pytest.approx(1.0)
        assert hits @ np.arange(size + 1) == pytest.approx(1.7 * size / 6)


def test_an_upset_larger_than_the_unit_opens_all_of_it():
    np.testing.assert_allclose(hits_in_group(np.array([0.0, 0.0, 1.0]), 2, 2), [0, 0, 1])


def test_refuses_no_time_and_no_unit():
    nothing = pd.DataFrame({"unit": [], "event": [], "opened": []})
    with pytest.raises(ValueError, match="years must be > 0"):
        upset_rates(nothing, pd.Series({"U1": 3}), 0.0, n_draws=10)
    with pytest.raises(ValueError, match="at least one unit"):
        upset_rates(nothing, pd.Series(dtype=int), 1.0, n_draws=10)
