import dataclasses

import numpy as np
import pytest
from scipy.stats import poisson

from analytics.spares.policy import Terms
from analytics.spares.replay import replay

TERMS = Terms(unit_price=100.0, lead_time_weeks=3.0, lead_time_sd_weeks=0.0, lot_charge=50.0)


def run(used, point, lot, lead=3, opening=0, terms=TERMS):
    used = np.asarray(used)
    return replay(
        used,
        np.full(used.shape, point),
        np.full(used.shape, lot),
        np.full(used.shape, lead),
        terms,
        opening=opening,
    )


def test_worked_by_hand():
    # Week 0: 2 used of 2, order 4 for week 3. Week 1: 1 waits. Week 3: 4 arrive, 1 was owed.
    found = run([2, 1, 0, 0, 0], point=2, lot=4, opening=2)

    assert (found.used, found.short, found.weeks_out) == (3, 1, 2)
    assert (found.orders, found.bought) == (1, 4)
    assert found.order_cost == 50.0
    assert found.value_left == 300.0
    # 3 pieces lie in weeks 3 and 4.
    assert found.holding_cost == pytest.approx(6 * 0.2 * 100 * 7 / 365.25)
    assert found.fill_rate == pytest.approx(2 / 3)


def test_base_stock_is_ready_as_often_as_the_poisson_law_says():
    # Order up to 4 at the end of each week, there 3 weeks later: what is short at the end of a
    # week is the demand of 3 weeks beyond 4.
    used = np.random.default_rng(2).poisson(0.4, 200_000)

    found = run(used, point=4, lot=1, opening=4)

    ready = 1 - found.weeks_out / used.size
    assert ready == pytest.approx(poisson.cdf(4, 0.4 * 3), abs=0.002)


def test_pieces_balance():
    used = np.random.default_rng(4).poisson(0.3, 500)

    found = run(used, point=3, lot=6, opening=5, terms=dataclasses.replace(TERMS, unit_price=1.0))

    assert 5 + found.bought - found.used == pytest.approx(found.value_left, abs=6)


def test_no_use_orders_nothing():
    found = run(np.zeros(20, dtype=int), point=1, lot=3, opening=1)

    assert (found.orders, found.short, found.fill_rate) == (0, 0, 1.0)
