"""Age and block replacement for any life: published closed forms."""

import math

import numpy as np
import pytest
from interval_cases import wear_only

from analytics.errors import InputError
from analytics.intervals.cost import least_cost
from analytics.intervals.general import least_cost_age, least_cost_block


@pytest.mark.parametrize(
    ("unplanned", "age", "cost"),
    [(2.0, 0.732050808, 3.732050808), (5.0, 0.5, 8.0), (10.0, 0.373210994, 14.3588989)],
)
def test_uniform_life_has_its_closed_form(unplanned, age, cost):
    # Barlow & Proschan (1965), from memory, re-derived: life uniform on (0, 1), c_p = 1,
    # T = -r + sqrt(r^2 + 2 r) with r = c_p / (c_f - c_p). Printed to nine digits.
    found = least_cost_age(lambda t: 1 - t, lambda t: 1 / (1 - t), 1.0, unplanned, horizon=1.0)

    assert found.interval == pytest.approx(age, abs=1e-7)
    assert found.cost_rate == pytest.approx(cost, abs=1e-7)


@pytest.mark.parametrize(
    ("ratio", "interval", "cost"),
    [
        (0.05, 0.4121941545, 0.2807484306),
        (0.1, 0.6882106710, 0.3737597602),
        (0.2, 1.4971541735, 0.4749643765),
    ],
)
def test_block_replacement_of_an_erlang_life(ratio, interval, cost):
    # Barlow & Hunter (1960), from memory, re-derived: Erlang-2 life of rate 1 has
    # m(t) = t/2 - (1 - exp(-2t))/4; 1 - (1 + 2T) exp(-2T) = 4 r gives the interval.
    found = least_cost_block(
        lambda t: t / 2 - (1 - math.exp(-2 * t)) / 4,
        lambda t: (1 - math.exp(-2 * t)) / 2,
        ratio,
        1.0,
        horizon=20.0,
    )

    assert found.interval == pytest.approx(interval, abs=1e-7)
    assert found.cost_rate == pytest.approx(cost, abs=1e-7)


def test_block_replacement_is_not_worth_it_from_a_quarter_on():
    # The same source: a finite interval exists if and only if c_p / c_f < 1/4.
    found = least_cost_block(
        lambda t: t / 2 - (1 - math.exp(-2 * t)) / 4,
        lambda t: (1 - math.exp(-2 * t)) / 2,
        0.251,
        1.0,
        horizon=30.0,
    )

    assert math.isinf(found.interval)


def test_replacement_with_minimal_repair():
    # Barlow & Hunter (1960), from memory, re-derived: Weibull 2.5, scale 1000, c_p 5, repair 1:
    # T = 1000 (5 / 1.5)^(1/2.5) = 1618.644583, cost rate 0.0051483404.
    found = least_cost_block(
        lambda t: (t / 1000) ** 2.5,
        lambda t: 2.5 / 1000 * (t / 1000) ** 1.5,
        5.0,
        1.0,
        horizon=10_000.0,
    )

    assert found.interval == pytest.approx(1618.644583, abs=1e-5)
    assert found.cost_rate == pytest.approx(0.0051483404, abs=1e-9)


def test_both_routes_to_the_optimum_agree():
    fast = least_cost(wear_only(2.5, 6.0), 1.0, 5.0)
    slow = least_cost_age(
        lambda t: math.exp(-((t / 6) ** 2.5)),
        lambda t: 2.5 / 6 * (t / 6) ** 1.5,
        1.0,
        5.0,
        horizon=30.0,
    )

    assert fast.age_years[0, 0] == pytest.approx(slow.interval, rel=1e-8)
    assert fast.cost_per_year[0, 0] == pytest.approx(slow.cost_rate, rel=1e-8)


def test_no_optimum_and_bad_input():
    flat = least_cost_age(lambda t: math.exp(-t), lambda t: 1.0, 1.0, 5.0, horizon=50.0)
    dear = least_cost_age(lambda t: 1 - t, lambda t: 1 / (1 - t), 5.0, 5.0, horizon=1.0)
    assert math.isinf(flat.interval)
    assert np.isnan(flat.cost_rate)
    assert math.isinf(dear.interval)
    with pytest.raises(InputError, match="both costs must be > 0"):
        least_cost_block(lambda t: t, lambda t: 1.0, 0.0, 1.0, horizon=1.0)
    with pytest.raises(InputError, match="horizon must be > 0"):
        least_cost_block(lambda t: t, lambda t: 1.0, 1.0, 1.0, horizon=math.inf)
