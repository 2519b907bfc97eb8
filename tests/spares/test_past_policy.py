import dataclasses

import numpy as np
import pandas as pd
import pytest
from scipy.stats import poisson
from stock_cases import forecast, steady

from analytics.spares.past_policy import coming_levels, past_policy
from analytics.spares.policy import Terms
from analytics.spares.sums import shifted

TERMS = {"D1": Terms(unit_price=100.0, lead_time_weeks=8.0, lead_time_sd_weeks=0.0)}
BEGINS, CUT = pd.Timestamp("2020-01-06"), pd.Timestamp("2022-01-03")
TARGETS = {("north", "D1"): 0.97}


def use(weeks_of_use) -> pd.DataFrame:
    days = [BEGINS + pd.Timedelta(weeks=int(week), days=2) for week in weeks_of_use]
    return pd.DataFrame({"store": "north", "disc_code": "D1", "used_on": days})


def run(usage, group, n_weeks=104):
    rows = past_policy(
        [(CUT, forecast(group))],
        usage,
        TERMS,
        TARGETS,
        begins=BEGINS,
        until=CUT + pd.Timedelta(weeks=n_weeks),
    )
    return rows.set_index("method")


def with_outage(week: int, discs: int):
    """Steady demand and `discs` planned replacements in one week."""
    group = steady(0.05)
    planned = np.where(np.arange(105) >= week, discs, 0)
    return dataclasses.replace(
        group, planned=planned.astype(float), pmf=shifted(group.pmf, planned)
    )


def test_steady_demand_has_steady_levels():
    levels = coming_levels(steady(0.25), 8, 0.97, 40)

    assert set(levels) == {int(poisson.ppf(0.97, 0.25 * 9))}


def test_an_unknown_rate_does_not_count_twice():
    # Rate 0.1, 0.2 or 0.3 a week, as likely each: any 9 weeks have the same mixed law.
    weeks, rates = np.arange(105)[:, None], np.array([0.1, 0.2, 0.3])
    law = poisson.pmf(np.arange(90), rates[:, None] * weeks[:, :, None]).mean(axis=1)
    group = dataclasses.replace(
        steady(0.2), pmf=law, premature=0.2 * weeks[:, 0], by_draw=rates * weeks
    )

    levels = coming_levels(group, 8, 0.97, 90)

    truth = int(np.argmax(np.cumsum(law[9]) >= 0.97))
    assert set(levels) == {truth}
    blind = coming_levels(dataclasses.replace(group, by_draw=None), 8, 0.97, 90)
    assert blind[80] > truth


def test_planned_outage_raises_the_level_a_lead_time_ahead():
    levels = coming_levels(with_outage(50, 12), 8, 0.97, 90)

    assert levels[40] <= 3
    assert levels[41] >= 12
    assert levels[49] >= 12
    assert levels[50] <= 3


def test_forecast_has_the_discs_for_the_outage_and_a_rolling_mean_has_not():
    # 12 discs at once in week 50 after the cut, as planned; one a year otherwise.
    usage = use([20, 70, 104 + 20, *[104 + 49] * 12])

    found = run(usage, with_outage(50, 12))

    assert found.loc["discward", "used"] == 13
    assert found.loc["discward", "short"] == 0
    assert found.loc["rolling mean", "short"] >= 8
    assert found.loc["discward", "weeks_out"] == 0


def test_service_over_many_played_years_is_the_target():
    rng = np.random.default_rng(6)
    waits, weeks = 0, 0
    for _ in range(40):
        weekly = rng.poisson(0.25, 208)
        usage = use(np.repeat(np.arange(208), weekly))
        found = run(usage, steady(0.25))
        waits, weeks = waits + found.loc["discward", "weeks_out"], weeks + 104

    # Seen at the end of a week the stock must outlast 8 of the 9 weeks the level is made for.
    level = poisson.ppf(0.97, 0.25 * 9)
    assert waits / weeks <= 1 - poisson.cdf(level, 0.25 * 8) + 0.006


def test_money_follows_orders_and_shelf():
    found = run(use(range(0, 208, 4)), steady(0.25))

    assert (found["bought"] > 0).all()
    assert (found["holding_cost"] > 0).all()
    assert found["order_cost"].tolist() == [0.0, 0.0]


def test_refuses_an_empty_stretch():
    with pytest.raises(ValueError, match="a forecast from a day before"):
        past_policy([], use([]), TERMS, TARGETS, begins=BEGINS, until=CUT)
