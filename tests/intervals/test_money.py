"""Policies set against each other: counts, money, limits."""

import numpy as np
import pytest
from interval_cases import some_law

from analytics.intervals.cost import policies
from analytics.intervals.money import compare_policies


def test_totals_are_sums_over_positions_and_savings_are_draw_by_draw():
    law = some_law(draws=50, units=6)
    ages = {"today": np.full(6, 4.0), "proposed": np.full(6, 2.0), "run to failure": np.inf}
    table = compare_policies(law, 1.0, 15.0, ages, demand_rate=0.1, demand_cost=9.0)
    table = table.set_index("policy")
    seen = policies(
        law, 1.0, 15.0, np.stack([np.full(6, 4.0), np.full(6, 2.0)]),
        demand_rate=0.1, demand_cost=9.0,
    )  # fmt: skip
    cost = seen.cost_per_year.sum(axis=2)

    assert table.loc["today", "cost_per_year"] == pytest.approx(cost[0].mean())
    assert table.loc["today", "saving"] == 0.0
    assert table.loc["proposed", "saving"] == pytest.approx((cost[0] - cost[1]).mean())
    assert table.loc["proposed", "saving_low"] == pytest.approx(
        np.quantile(cost[0] - cost[1], 0.025)
    )
    assert table.loc["proposed", "probability_cheaper"] == (cost[1] < cost[0]).mean()
    assert table.loc["run to failure", "planned_per_year"] == pytest.approx(0.0, abs=1e-9)


def test_every_disc_used_is_planned_failed_or_opened():
    # A position needs one disc per mean cycle, whatever ended it.
    law = some_law(draws=8, units=3)
    table = compare_policies(law, 1.0, 15.0, {"today": np.full(3, 3.0)}, demand_rate=0.2)
    row = table.iloc[0]

    assert row["discs_per_year"] == pytest.approx(
        row["planned_per_year"] + row["premature_per_year"] + 3 * 0.2
    )
    assert row["premature_low"] <= row["premature_per_year"] <= row["premature_high"]
