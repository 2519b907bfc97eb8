import dataclasses

import numpy as np
import pytest
from demand_cases import CASES, fleet, upsets
from demand_simulator import simulate

from analytics.spares.demand import forecast_demand

WEEKS = (13, 52, 104)


def largest_z(group, used, weeks) -> float:
    """Largest gap between computed and simulated distribution functions, in sigmas."""
    runs, worst, looked_at = len(used), 0.0, 0
    for column, week in enumerate(weeks):
        computed = np.minimum(np.cumsum(group.pmf[week]), 1.0)
        counts = np.arange(computed.size)
        played = (used[:, column, None] <= counts).mean(axis=0)
        sigma = np.sqrt(computed * (1 - computed) / runs)
        enough = runs * computed * (1 - computed) > 25
        looked_at += int(enough.sum())
        worst = max(worst, np.abs((played - computed)[enough] / sigma[enough]).max(initial=0.0))
    assert looked_at >= 15
    return worst


@pytest.mark.parametrize("name", CASES)
def test_computed_demand_is_the_simulated_demand(name):
    positions, hits = CASES[name]

    group = forecast_demand(positions, hits).groups[0]
    played = simulate(positions, hits, runs=40_000, weeks=WEEKS, fitting_loss=0.03, seed=11)

    # About 30 gaps are looked at; 4.5 sigma is passed by chance once in 5,000 tests.
    assert largest_z(group, played.used, WEEKS) < 4.5
    for part in ("premature", "upset", "unclear"):
        computed, seen = getattr(group, part)[list(WEEKS)], getattr(played, part)
        np.testing.assert_allclose(computed, seen, atol=4.5 * np.sqrt(3 / 40_000))


def test_a_wrong_share_of_fitting_losses_would_be_seen():
    positions, hits = CASES["planned"]

    group = forecast_demand(positions, hits, fitting_loss=0.05).groups[0]
    played = simulate(positions, hits, runs=40_000, weeks=WEEKS, fitting_loss=0.03, seed=11)

    assert largest_z(group, played.used, WEEKS) > 10


def test_parts_add_up_to_the_mean_of_the_distribution():
    positions, hits = CASES["everything"]

    group = forecast_demand(positions, hits).groups[0]

    np.testing.assert_allclose(
        group.pmf @ np.arange(group.pmf.shape[1]), group.mean, rtol=1e-6, atol=1e-6
    )
    np.testing.assert_allclose(group.pmf.sum(axis=1), 1.0, atol=1e-9)
    assert group.planned[104] == 5
    assert group.planned[29] == 0


def test_groups_are_split_by_store_and_code():
    positions = fleet(n=4)
    stores = np.array(["north", "south", "north", "south"], dtype=object)
    mixed = dataclasses.replace(positions, store=stores)

    groups = forecast_demand(mixed).groups

    assert [(g.store, g.n_positions) for g in groups] == [("north", 2), ("south", 2)]
    together = forecast_demand(positions).groups[0]
    np.testing.assert_allclose(sum(g.mean for g in groups), together.mean, rtol=1e-5)


def test_parameter_draws_widen_the_demand():
    positions = fleet(n=5, draws=40)
    middle = fleet(n=5, draws=1)

    def variance(group):
        counts = np.arange(group.pmf.shape[1])
        return group.pmf[52] @ counts**2 - (group.pmf[52] @ counts) ** 2

    assert variance(forecast_demand(positions).groups[0]) > variance(
        forecast_demand(middle).groups[0]
    )


def test_common_upsets_widen_the_demand_and_leave_its_mean():
    positions = fleet(n=6, install_rate=1e-9, life_years=1e6)
    together = upsets(rate=0.3, opened=(0.0, 0.0, 1.0), n=6)
    apart = upsets(rate=0.9, opened=(1.0,), n=6)

    wide, narrow = (
        forecast_demand(positions, hits, fitting_loss=0.0).groups[0] for hits in (together, apart)
    )

    np.testing.assert_allclose(wide.mean, narrow.mean, atol=2e-3)
    # Three at a time: none at all with probability exp(-2 units x 0.3 x t).
    years = 104 * 7 / 365.25
    assert wide.pmf[104, 0] == pytest.approx(np.exp(-0.6 * years), abs=1e-6)
    assert wide.pmf[104, 1] == pytest.approx(0.0, abs=1e-6)
    assert narrow.pmf[104, 0] == pytest.approx(np.exp(-1.8 * years), abs=2e-5)


@pytest.mark.parametrize(
    ("changes", "options", "message"),
    [
        ({"age_years": np.array([1.0, -1.0])}, {}, "age_years must be >= 0"),
        ({"age_years": np.array([1.0, np.nan])}, {}, "age_years must be >= 0"),
        ({"age_years": np.array([1.0])}, {}, "arrays of one length"),
        ({"planned_weeks": ((5, 3), ())}, {}, "planned weeks must ascend"),
        ({}, {"n_weeks": 0}, "n_weeks must be >= 1"),
        ({}, {"fitting_loss": 1.0}, r"fitting_loss must lie in \[0, 1\)"),
    ],
)
def test_refuses_what_makes_no_sense(changes, options, message):
    positions = dataclasses.replace(fleet(n=2), **changes)

    with pytest.raises(ValueError, match=message):
        forecast_demand(positions, **options)
