import numpy as np
import pytest
from scipy.stats import gamma

from analytics.spares.base_stock import poisson_pmf
from analytics.spares.policy import (
    Terms,
    expected_shortage,
    lead_time_pmf,
    mixed_over_lead_time,
    order_quantity,
    quantile,
    yearly_cost,
)


def terms(**changes) -> Terms:
    return Terms(
        **{"unit_price": 100.0, "lead_time_weeks": 8.0, "lead_time_sd_weeks": 2.0, **changes}
    )


def test_lead_time_keeps_mean_and_spread():
    pmf = lead_time_pmf(12.0, 4.0, longest=104)
    weeks = np.arange(105)

    # Rounding up to whole weeks adds half a week on average.
    assert pmf.sum() == pytest.approx(1.0)
    assert pmf @ weeks == pytest.approx(12.5, abs=0.01)
    assert pmf @ weeks**2 - (pmf @ weeks) ** 2 == pytest.approx(16.0, abs=0.2)


def test_lead_time_beyond_the_horizon_is_put_at_its_end():
    assert lead_time_pmf(200.0, 0.0, longest=10)[-1] == 1.0
    assert lead_time_pmf(200.0, 50.0, longest=10)[-1] == pytest.approx(
        gamma.sf(9, 16, scale=12.5), abs=1e-12
    )


def test_lead_time_of_zero_arrives_at_once():
    assert lead_time_pmf(0.0, 0.0, longest=5)[0] == 1.0
    assert lead_time_pmf(0.0, 3.0, longest=5)[0] == 1.0


def test_mixture_weighs_the_weeks_and_stays_in_the_horizon():
    demand = np.eye(6)
    mixed = mixed_over_lead_time(demand, np.array([0.0, 0.25, 0.75]), start=1)
    np.testing.assert_allclose(mixed, [0, 0, 0.25, 0.75, 0, 0])
    late = mixed_over_lead_time(demand, np.array([0.0, 0.5, 0.5]), start=4)
    np.testing.assert_allclose(late, [0, 0, 0, 0, 0, 1.0])


def test_level_met_exactly_is_not_missed_by_rounding():
    assert quantile(np.full(10, 0.1), 0.7) == 6


def test_shortage_falls_by_the_tail_probability():
    pmf = poisson_pmf(2.5)
    shortage = expected_shortage(pmf)

    assert shortage[0] == pytest.approx(2.5)
    np.testing.assert_allclose(-np.diff(shortage), (1 - np.cumsum(pmf))[:-1], atol=1e-12)


def test_lot_without_shelf_life_is_the_classical_root():
    # sqrt(2 K lambda / (h c)) = sqrt(2 x 500 x 10 / 20) = 22.36 (economic order quantity).
    assert order_quantity(10.0, terms(lot_charge=500.0)) == 22


def test_test_discs_make_lots_larger():
    plain, tested = (order_quantity(10.0, terms(lot_charge=500.0, test_discs=n)) for n in (0, 4))
    assert tested > plain


def test_short_shelf_life_makes_lots_smaller():
    long, short = (
        order_quantity(10.0, terms(lot_charge=5000.0, shelf_life_weeks=weeks))
        for weeks in (np.inf, 52.0)
    )
    assert short < long
    assert short <= 14


def test_waste_in_the_yearly_cost_is_what_simulation_finds():
    rng = np.random.default_rng(1)
    left = np.maximum(12 - rng.normal(10, np.sqrt(10), 400_000), 0).mean()

    year = 365.25 / 7
    aged = yearly_cost(np.array([12.0]), 10.0, terms(shelf_life_weeks=year), 1.0)
    ever = yearly_cost(np.array([12.0]), 10.0, terms(), 1.0)

    assert (aged - ever)[0] == pytest.approx(10 / (12 - left) * 100 * left, rel=0.01)


def test_minimum_order_rules_and_no_price_weighs_nothing():
    assert order_quantity(10.0, terms(lot_charge=1.0, minimum_order=6)) == 6
    assert order_quantity(10.0, terms(unit_price=np.nan, minimum_order=3)) == 3
    assert order_quantity(0.0, terms(minimum_order=3)) == 3


def test_refuses_what_makes_no_sense():
    with pytest.raises(ValueError, match=r"lead time and its spread must be >= 0 weeks"):
        lead_time_pmf(-1.0, 0.0, longest=5)
    with pytest.raises(ValueError, match=r"probability must lie in \(0, 1\)"):
        quantile(np.ones(1), 1.0)
