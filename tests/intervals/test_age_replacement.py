"""The recommended age over parameter draws: expectation, limits, flatness."""

import numpy as np
import pytest
from interval_cases import some_law, wear_only

from analytics.errors import InputError
from analytics.intervals.age_replacement import age_replacement
from analytics.intervals.cost import least_cost, policies
from analytics.survival.law import Family


def test_one_draw_recommends_its_own_optimum():
    for shape, ratio in ((2.0, 5.0), (3.0, 10.0), (1.5, 20.0)):
        found = age_replacement(wear_only(shape, 4.0), 1.0, ratio)
        own = least_cost(wear_only(shape, 4.0), 1.0, ratio)
        assert found.recommended_years[0] == pytest.approx(own.age_years[0, 0], rel=3e-4)
        assert found.cost_recommended[0] == pytest.approx(own.cost_per_year[0, 0], rel=1e-6)
        assert found.low_years[0] == pytest.approx(own.age_years[0, 0], rel=1e-9)
        assert found.high_years[0] == pytest.approx(own.age_years[0, 0], rel=1e-9)
        assert found.probability_cheaper[0] == 1.0


@pytest.mark.parametrize("family", [Family.WEIBULL, Family.LOGNORMAL])
def test_recommended_age_has_the_least_expected_cost(family):
    law = some_law(family, draws=40, units=6)
    found = age_replacement(law, 1.0, 15.0, demand_rate=0.08)
    finite = np.isfinite(found.recommended_years)
    assert finite.sum() >= 4
    ages = np.where(finite, found.recommended_years, 1.0)
    around = np.stack([0.9 * ages, 0.97 * ages, ages, 1.03 * ages, 1.1 * ages])
    cost = policies(law, 1.0, 15.0, around, demand_rate=0.08).cost_per_year.mean(axis=1)
    for unit in np.flatnonzero(finite):
        assert cost[2, unit] == cost[:, unit].min()
        assert found.cost_recommended[unit] == pytest.approx(cost[2, unit], rel=1e-5)
        assert found.low_years[unit] <= found.recommended_years[unit] <= found.high_years[unit]


def test_flat_region_ends_where_the_cost_is_two_percent_dearer():
    law = some_law(draws=30, units=5)
    found = age_replacement(law, 1.0, 15.0)
    ends = np.stack([found.flat_low_years, found.flat_high_years])
    cost = policies(law, 1.0, 15.0, ends).cost_per_year.mean(axis=1)
    inside = found.flat_high_years < 14.9
    assert inside.sum() >= 3
    # Read off a straight line between points of the curve, so a little inside the 2 %.
    dearer = cost / found.cost_recommended
    assert ((dearer[0] > 1.014) & (dearer[0] < 1.0205)).all()
    assert ((dearer[1] > 1.014) & (dearer[1] < 1.0205))[inside].all()


def test_no_rise_no_recommendation():
    found = age_replacement(some_law(Family.EXPONENTIAL), 1.0, 50.0)

    assert np.isinf(found.recommended_years).all()
    assert (found.probability_cheaper == 0).all()
    assert np.isnan(found.flat_low_years).all()
    assert found.cost_recommended == pytest.approx(found.run_to_failure)


def test_draws_that_disagree_show_in_the_limits_and_the_probability():
    law = some_law(draws=200, units=1)
    law.wear_sigma[:100] = 1.25  # half of the draws say that wear falls with age
    found = age_replacement(law, 1.0, 8.0)

    assert np.isinf(found.high_years[0])
    assert 0.3 < found.probability_cheaper[0] < 0.7 or np.isinf(found.recommended_years[0])


def test_chunks_do_not_show():
    law = some_law(draws=3, units=300)
    whole = age_replacement(law, np.linspace(1, 2, 300), 12.0)
    tail = age_replacement(
        type(law)(
            family=law.family,
            wear_location=law.wear_location[:, 250:],
            wear_sigma=law.wear_sigma,
            install_log_rate=law.install_log_rate[:, 250:],
            install_shape=law.install_shape,
        ),
        np.linspace(1, 2, 300)[250:],
        12.0,
    )
    assert whole.recommended_years[250:] == pytest.approx(tail.recommended_years)
    assert whole.cost.shape == (len(whole.ages_years), 300)


def test_a_horizon_too_short_is_refused():
    with pytest.raises(InputError, match=r"horizon_years must be > 0.1"):
        age_replacement(wear_only(2.0), 1.0, 2.0, horizon_years=0.1)
