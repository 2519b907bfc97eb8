import numpy as np
import pytest
from scipy.stats import gamma, nbinom, norm

from analytics.spares.base_stock import (
    best_level,
    best_lot,
    level_cost,
    lot_cost,
    poisson_pmf,
    stock_measures,
)
from analytics.spares.policy import expected_shortage, quantile


@pytest.mark.parametrize(
    ("mean", "level", "owed", "fill", "ready", "on_hand", "variance"),
    [
        # Poisson base stock: Palm (1938), Feeney & Sherbrooke (1966); values by direct sums,
        # 10 digits, hence 1e-9.
        (1, 0, 1, 0, 0.3678794412, 0, 1),
        (1, 1, 0.3678794412, 0.3678794412, 0.7357588823, 0.3678794412, 0.4967852756),
        (1, 2, 0.1036383235, 0.7357588823, 0.9196986029, 1.1036383235, 0.1498618920),
        (1, 3, 0.0233369264, 0.9196986029, 0.9810118431, 2.0233369264, 0.0330829320),
        (2.5, 2, 0.8693824938, 0.2872974952, 0.5438131159, 0.3693824938, 1.4606215884),
        (2.5, 3, 0.4131956097, 0.5438131159, 0.7575761331, 0.9131956097, 0.7631387936),
        (2.5, 5, 0.0619497617, 0.8911780189, 0.9579789618, 2.5619497617, 0.1133427754),
        (2.5, 8, 0.0014947161, 0.9957533045, 0.9988597472, 5.5014947161, 0.0023935662),
    ],
)
def test_base_stock_matches_the_table(mean, level, owed, fill, ready, on_hand, variance):
    found = stock_measures(poisson_pmf(mean), level)

    assert found.backorders == pytest.approx(owed, abs=1e-9)
    assert found.fill_rate == pytest.approx(fill, abs=1e-9)
    assert found.ready_rate == pytest.approx(ready, abs=1e-9)
    assert found.on_hand == pytest.approx(on_hand, abs=1e-9)
    assert found.backorder_variance == pytest.approx(variance, abs=1e-9)
    assert found.on_hand - found.backorders == pytest.approx(level - mean, abs=1e-12)


@pytest.mark.parametrize(
    ("mean", "service", "pieces", "reached"),
    [
        # Smallest stock with P(X <= s) >= service, Poisson; 5 printed digits.
        (1.0, 0.95, 3, 0.98101),
        (2.0, 0.95, 5, 0.98344),
        (2.5, 0.95, 5, 0.95798),
        (0.5, 0.99, 3, 0.99825),
        (3.0, 0.99, 8, 0.99620),
        # 20 positions at 0.25 per year, a lead time of 16 of 52 weeks.
        (20 * 0.25 * 16 / 52, 0.95, 4, 0.97955),
    ],
)
def test_smallest_stock_for_a_service(mean, service, pieces, reached):
    pmf = poisson_pmf(mean)

    assert quantile(pmf, service) == pieces
    assert pmf[: pieces + 1].sum() == pytest.approx(reached, abs=6e-6)


def test_newsvendor_matches_published_costs():
    # Poisson(50), h = 0.18, p = 0.70; Poisson(6), h = 1, p = 4: Snyder & Shen, Fundamentals of
    # Supply Chain Theory, 2nd ed. (values as printed in an open package's manual).
    cost = level_cost(poisson_pmf(50), 0.18, 0.70)
    assert best_level(poisson_pmf(50), 0.18, 0.70) == 56
    assert cost[55:58] == pytest.approx([1.8069012592, 1.7972352118, 1.8206982983], abs=1e-9)

    cost = level_cost(poisson_pmf(6), 1, 4)
    assert best_level(poisson_pmf(6), 1, 4) == 8
    found = cost[[5, 7, 8, 9]]
    # Level 9 by direct sum: 3.8062944157.
    expected = [6.5902960246, 3.8502081435, 3.5701069458, 3.8062944157]
    assert found == pytest.approx(expected, abs=1e-9)


def test_newsvendor_of_a_fine_grid_matches_the_normal_one():
    # Normal(50, 8), h = 0.18, p = 0.70: S = 56.60395592743389, cost 1.9976051931766452
    # (Snyder & Shen, example 4.3). On a grid of 0.01 the level is right to half a step.
    grid = np.arange(0, 10_001)
    demand = np.diff(norm.cdf((grid + 0.5) / 100, 50, 8), prepend=0.0)

    level = best_level(demand, 0.18 / 100, 0.70 / 100)

    assert level / 100 == pytest.approx(56.60395592743389, abs=0.005)
    cost = level_cost(demand, 0.18 / 100, 0.70 / 100)[level]
    assert cost == pytest.approx(1.9976051931766452, abs=1e-5)


def test_lot_and_point_match_the_published_optimum():
    # h = 20, p = 150, K = 100, rate 1.5, lead time 2: Federgruen & Zheng (1992), example of
    # Snyder & Shen: r = 3, Q = 5, cost 107.92358063314978.
    terms = {"rate": 1.5, "lead_time": 2.0, "holding": 20.0, "shortage": 150.0, "order": 100.0}

    assert best_lot(**terms) == (3, 5)
    assert lot_cost(3, 5, **terms) == pytest.approx(107.92358063314978, abs=1e-9)
    for (point, lot), cost in {
        (2, 6): 108.979871,
        (3, 4): 109.679669,
        (3, 6): 109.978437,
    }.items():
        assert lot_cost(point, lot, **terms) == pytest.approx(cost, abs=1e-6)
    # Service at (3, 5): the position is equally often at 4 .. 8.
    measures = [stock_measures(poisson_pmf(3.0), level) for level in range(4, 9)]
    for name, value in {
        "backorders": 0.1054328273,
        "fill_rate": 0.8666328304,
        "ready_rate": 0.9364258543,
        "on_hand": 3.1054328273,
    }.items():
        assert np.mean([getattr(m, name) for m in measures]) == pytest.approx(value, abs=1e-9)


def test_best_lot_is_the_best_of_a_grid():
    rng = np.random.default_rng(8)
    for _ in range(20):
        terms = {
            "rate": rng.uniform(0.3, 4),
            "lead_time": rng.uniform(0.2, 3),
            "holding": rng.uniform(1, 30),
            "shortage": rng.uniform(20, 300),
            "order": rng.uniform(1, 200),
        }
        grid = {(r, q): lot_cost(r, q, **terms) for r in range(-4, 26) for q in range(1, 40)}
        found = best_lot(**terms)
        assert lot_cost(*found, **terms) == pytest.approx(min(grid.values()), rel=1e-9)


def test_open_package_agrees_on_newsvendor_and_lot():
    newsvendor = pytest.importorskip("stockpyl.newsvendor")
    rq = pytest.importorskip("stockpyl.rq")

    rng = np.random.default_rng(2)
    for _ in range(5):
        holding, shortage, mean = rng.uniform(0.1, 2), rng.uniform(2, 30), rng.uniform(1, 40)
        level, cost = newsvendor.newsvendor_poisson(holding, shortage, mean)
        assert best_level(poisson_pmf(mean), holding, shortage) == level
        assert level_cost(poisson_pmf(mean), holding, shortage)[int(level)] == pytest.approx(cost)
    for rate, lead, holding, shortage, order in [(1.5, 2, 20, 150, 100), (3.2, 1, 5, 40, 30)]:
        point, lot, cost = rq.r_q_poisson_exact(holding, shortage, order, rate, lead)
        terms = {"rate": rate, "lead_time": lead, "holding": holding}
        found = best_lot(**terms, shortage=shortage, order=order)
        assert found == (point, lot)
        assert lot_cost(*found, **terms, shortage=shortage, order=order) == pytest.approx(cost)


def test_shortage_of_other_laws_matches_published_losses():
    # Poisson(15) at 18: 0.5176095283; negative binomial r = 4, p = 0.2 at 14: 4.4473046320
    # (open package's manual, Snyder & Shen). 10 digits.
    assert expected_shortage(poisson_pmf(15))[18] == pytest.approx(0.5176095283, abs=1e-9)
    law = nbinom.pmf(np.arange(400), 4, 0.2)
    assert expected_shortage(law)[14] == pytest.approx(4.4473046320, abs=1e-9)


def test_shortage_on_a_fine_grid_matches_continuous_losses():
    # Normal(15, 3) at 18.6: 0.1683073522; gamma(2, scale 3) at 4: 2.6359713812 (same source).
    step = 0.002
    for law, level, expected in [
        (norm(15, 3), 18.6, 0.1683073522),
        (gamma(2, scale=3), 4.0, 2.6359713812),
    ]:
        edges = step * (np.arange(40_001) - 0.5)
        pmf = np.diff(law.cdf(edges), append=1.0)
        found = step * expected_shortage(pmf)[round(level / step)]
        assert found == pytest.approx(expected, abs=1e-6)


def test_refuses_what_makes_no_sense():
    with pytest.raises(ValueError, match="level must be >= 0"):
        stock_measures(poisson_pmf(1.0), -1)
    with pytest.raises(ValueError, match="mean must be >= 0"):
        poisson_pmf(-1.0)
    with pytest.raises(ValueError, match="both costs must be > 0"):
        best_level(poisson_pmf(1.0), 0.0, 1.0)
