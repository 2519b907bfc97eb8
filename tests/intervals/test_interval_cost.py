"""Least cost by the first-order condition: published values, other routes, laws, refusals."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from interval_cases import one_of, some_law, wear_only
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from analytics.errors import InputError
from analytics.intervals.cost import least_cost, policies
from analytics.survival.law import Family, LifeLaw, hazard, survival

# Barlow & Proschan, Mathematical Theory of Reliability (1965), ch. 4 (theory; Glasser, 1967,
# tabulates such values; neither was opened). Values re-derived by bisection at 60 digits.
# Weibull, unit scale, c_p = 1: shape, c_f, least-cost age, its cost, cost of running to failure.
PUBLISHED = (
    (2, 2, 1.09079697, 2.18159394, 2.25675833),
    (2, 5, 0.510655224, 4.08524179, 5.64189584),
    (2, 10, 0.336451191, 6.05612144, 11.2837917),
    (2, 20, 0.230426798, 8.75621833, 22.5675833),
    (3, 2, 0.810342027, 1.96996260, 2.23969304),
    (3, 5, 0.502609582, 3.03139670, 5.59923261),
    (3, 10, 0.382455531, 3.94935030, 11.1984652),
    (3, 20, 0.297770471, 5.05403343, 22.3969304),
)


@pytest.mark.parametrize(("shape", "unplanned", "age", "cost", "forever"), PUBLISHED)
def test_weibull_optimum_meets_the_published_values(shape, unplanned, age, cost, forever):
    found = least_cost(wear_only(shape), 1.0, float(unplanned))

    assert found.age_years[0, 0] == pytest.approx(age, abs=1e-6)
    assert found.cost_per_year[0, 0] == pytest.approx(cost, abs=1e-8)
    # Printed to nine digits: half a unit in the last place.
    assert found.run_to_failure[0, 0] == pytest.approx(forever, rel=5e-9)


@pytest.mark.parametrize("shape", [0.4, 0.8, 1.0])
@pytest.mark.parametrize("unplanned", [1.5, 10.0, 1000.0])
def test_a_hazard_that_never_rises_has_no_finite_optimum(shape, unplanned):
    found = least_cost(wear_only(shape), 1.0, unplanned)

    assert np.isinf(found.age_years).all()
    assert found.cost_per_year == pytest.approx(found.run_to_failure)


@pytest.mark.parametrize("unplanned", [0.5, 1.0])
def test_a_failure_no_dearer_than_a_plan_is_waited_for(unplanned):
    assert np.isinf(least_cost(wear_only(3.0), 1.0, unplanned).age_years).all()


@pytest.mark.parametrize("family", list(Family))
@pytest.mark.parametrize("rate", [0.0, 0.2])
def test_policies_agree_with_adaptive_quadrature(family, rate):
    law = some_law(family, draws=2, units=3)
    ages = np.array([0.02, 0.7, 3.0, 9.0])
    seen = policies(law, 2.0, 17.0, ages, demand_rate=rate, demand_cost=11.0)
    for draw in range(2):
        for unit in range(3):
            one = one_of(law, draw, unit)

            def alive(t, one=one):
                return float(survival(one, t)[0, 0]) * np.exp(-rate * t)

            for row, age in enumerate(ages):
                area = quad(alive, 0, age, epsabs=1e-13, epsrel=1e-11)[0]
                upset = rate * area
                early = 1 - alive(age) - upset
                cost = (2.0 * alive(age) + 17.0 * early + 11.0 * upset) / area
                assert seen.cost_per_year[row, draw, unit] == pytest.approx(cost, rel=1e-8)
                assert seen.premature_probability[row, draw, unit] == pytest.approx(early, abs=1e-9)
                assert seen.planned_per_year[row, draw, unit] == pytest.approx(
                    alive(age) / area, rel=1e-8
                )


@pytest.mark.parametrize("family", [Family.WEIBULL, Family.LOGNORMAL, Family.LOGLOGISTIC])
def test_optimum_agrees_with_a_search_on_the_cost_itself(family):
    law = some_law(family, draws=3, units=4)
    found = least_cost(law, 1.0, 12.0, demand_rate=0.05)
    finite = 0
    for draw in range(3):
        for unit in range(4):
            one = one_of(law, draw, unit)
            cost = lambda y, one=one: float(  # noqa: E731
                policies(one, 1.0, 12.0, [np.exp(y)], demand_rate=0.05).cost_per_year[0, 0, 0]
            )
            grid = np.linspace(-4, 5, 200)
            start = grid[np.argmin([cost(y) for y in grid])]
            best = minimize_scalar(cost, bounds=(start - 0.1, start + 0.1), method="bounded")
            if np.isfinite(found.age_years[draw, unit]):
                finite += 1
                # A minimum found by its value is only known to the root of the rounding.
                assert found.age_years[draw, unit] == pytest.approx(np.exp(best.x), rel=1e-4)
            assert found.cost_per_year[draw, unit] <= best.fun * (1 + 1e-9)
    assert finite >= 6


def test_the_slope_is_zero_at_the_optimum_and_cost_equals_hazard():
    law = some_law(draws=4, units=3)
    found = least_cost(law, 1.0, 9.0, demand_rate=0.1, demand_cost=4.0)
    for unit in range(3):
        at = policies(law, 1.0, 9.0, found.age_years[:, unit], demand_rate=0.1, demand_cost=4.0)
        own = np.arange(4)
        assert at.cost_slope[own, own, unit] == pytest.approx(0.0, abs=1e-7)
    # C = (c_f - c_p)(h + delta) + delta (c_d - c_f)
    expected = 8.0 * (sum(hazard(law, found.age_years)) + 0.1) + 0.1 * (4.0 - 9.0)
    assert found.cost_per_year == pytest.approx(expected, rel=1e-9)


positive = st.floats(0.2, 5.0)


@settings(max_examples=40, deadline=None)
@given(shape=st.floats(1.2, 5.0), scale=st.floats(0.01, 100.0), ratio=st.floats(1.5, 200.0))
def test_ages_scale_with_life_and_costs_with_money(shape, scale, ratio):
    unit = least_cost(wear_only(shape), 1.0, ratio)
    other = least_cost(wear_only(shape, scale), 3.0, 3.0 * ratio)

    assert other.age_years == pytest.approx(scale * unit.age_years, rel=1e-7)
    assert other.cost_per_year == pytest.approx(3.0 / scale * unit.cost_per_year, rel=1e-7)


@settings(max_examples=40, deadline=None)
@given(
    shape=st.floats(1.2, 5.0), low=st.floats(1.5, 100.0), more=st.floats(1.05, 5.0),
    rate=st.floats(0.0, 0.5),
)  # fmt: skip
def test_dearer_failures_are_met_earlier_and_never_worse_than_waiting(shape, low, more, rate):
    cheap = least_cost(wear_only(shape), 1.0, low, demand_rate=rate)
    dear = least_cost(wear_only(shape), 1.0, low * more, demand_rate=rate)

    assert dear.age_years[0, 0] <= cheap.age_years[0, 0] * (1 + 1e-9)
    for found in (cheap, dear):
        assert found.cost_per_year[0, 0] <= found.run_to_failure[0, 0] * (1 + 1e-9)


def test_what_an_upset_costs_moves_no_age():
    law = some_law()
    plain = least_cost(law, 1.0, 20.0, demand_rate=0.3)
    dear = least_cost(law, 1.0, 20.0, demand_rate=0.3, demand_cost=100.0)

    assert (dear.age_years == plain.age_years).all()
    assert dear.cost_per_year - plain.cost_per_year == pytest.approx(0.3 * 80.0)


def test_running_to_failure_is_one_cost_per_mean_life():
    # Independent route: without planned replacement the cost is c_f / mean life; the mean of a
    # loglogistic with sigma 0.4 and location 0 is pi s / sin(pi s).
    found = least_cost(wear_only(2.5, family=Family.LOGLOGISTIC), 1.0, 1.5)
    mean = 0.4 * np.pi / np.sin(0.4 * np.pi)

    assert found.run_to_failure[0, 0] == pytest.approx(1.5 / mean, rel=1e-5)


@pytest.mark.parametrize("cost", [0.0, -1.0, np.nan, np.inf])
def test_costs_that_are_not_positive_are_refused(cost):
    with pytest.raises(InputError, match="planned_cost must be > 0 and known"):
        least_cost(wear_only(2.0), cost, 1.0)


def test_other_bad_input_is_refused():
    with pytest.raises(InputError, match="demand_rate must be >= 0 per year"):
        least_cost(wear_only(2.0), 1.0, 2.0, demand_rate=-0.1)
    with pytest.raises(InputError, match="one number or one per unit"):
        least_cost(wear_only(2.0), [1.0, 2.0], 2.0)
    with pytest.raises(InputError, match="ages_years must be > 0 years"):
        policies(wear_only(2.0), 1.0, 2.0, [1.0, 0.0])
    flat = LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.zeros(3),
        wear_sigma=np.ones(3),
        install_log_rate=np.zeros(3),
        install_shape=np.ones(3),
    )
    with pytest.raises(InputError, match=r"shape \(n_draws, n_units\)"):
        least_cost(flat, 1.0, 2.0)


def test_ages_may_come_in_any_order():
    law = some_law()
    up = policies(law, 1.0, 5.0, [0.5, 2.0, 8.0]).cost_per_year
    mixed = policies(law, 1.0, 5.0, [8.0, 0.5, 2.0]).cost_per_year

    assert mixed == pytest.approx(up[[2, 0, 1]], rel=1e-8)
