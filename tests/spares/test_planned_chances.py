"""The plan as past outages show it was kept, and what that does to demand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from demand_cases import CASES, fleet

from analytics.intervals.kept import past_visits, plan_chances
from analytics.spares.demand import forecast_demand

YEARS = range(2015, 2025)
EXPORT = pd.Timestamp("2024-12-31")
OUTAGES = pd.DataFrame(
    {"turnaround_group": "G", "starts_on": [pd.Timestamp(year, 6, 1) for year in YEARS]}
)


def planned_log(n: int, share: float) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Discs due at each yearly outage, changed at it with a chance that is the same for all."""
    rng, rows = np.random.default_rng(5), []
    for i in range(n):
        fitted = pd.Timestamp("2014-06-01")
        # The first two are always made: the interval is on record before it is judged.
        for k, day in enumerate(OUTAGES["starts_on"]):
            if k < 2 or rng.random() < share:
                rows.append((f"P{i}", fitted, day + pd.Timedelta(days=3), "planned"))
                fitted = day + pd.Timedelta(days=3)
        rows.append((f"P{i}", fitted, EXPORT, "in_service"))
    lives = pd.DataFrame(rows, columns=["position_id", "installed_on", "ended_on", "ending"])
    lives["age_years"] = (lives["ended_on"] - lives["installed_on"]).dt.days / 365.25
    lives = lives.assign(entry_years=0.0, age_known=True, turnaround_group="G")
    today = pd.DataFrame({"position_id": [f"P{i}" for i in range(n)], "turnaround_group": "G"})
    return lives, today


def test_half_of_the_due_discs_passed_over_halves_the_planned_demand():
    lives, today = planned_log(40, 0.5)
    visits = past_visits(lives, today, OUTAGES, export=EXPORT)
    judged = visits[visits["outage"] > "2017-01-01"]
    chances = plan_chances(judged, today, n_draws=200, seed=1)
    assert chances is not None
    assert chances.due.mean() == pytest.approx(0.5, abs=0.06)
    # 40 discs due in week 20: a binomial count, a little wider for what is not known.
    lasting = fleet(n=40, draws=200, planned=((20,),) * 40, life_years=1e6, install_rate=1e-9)
    asked = replace(lasting, due_chance=chances.due, young_chance=chances.young)
    found = forecast_demand(asked, n_weeks=30, fitting_loss=0.0).groups[0]
    counts = np.arange(found.pmf.shape[1])
    mean = found.pmf[30] @ counts
    assert mean == pytest.approx(40 * chances.due.mean(), abs=1e-6)
    assert found.planned[[19, 20, 30]] == pytest.approx([0, mean, mean], abs=1e-6)
    deviation = np.sqrt(found.pmf[30] @ counts**2 - mean**2)
    assert 2.2 < deviation < 3.6


def test_a_plan_that_was_always_kept_is_certain():
    lives, today = planned_log(10, 1.0)
    visits = past_visits(lives, today, OUTAGES, export=EXPORT)
    assert len(visits) >= 70
    assert plan_chances(visits, today, n_draws=50, seed=1) is None


@pytest.mark.parametrize("name", ["planned", "common upsets"])
def test_chances_of_one_give_what_a_certain_plan_gives(name):
    positions, upsets = CASES[name]
    ones = np.ones_like(positions.unclear_rate)
    sure = forecast_demand(positions, upsets, n_weeks=60).groups[0]
    told = forecast_demand(
        replace(positions, due_chance=ones, young_chance=ones), upsets, n_weeks=60
    ).groups[0]
    size = min(sure.pmf.shape[1], told.pmf.shape[1])
    assert told.pmf[:, :size] == pytest.approx(sure.pmf[:, :size], abs=2e-5)
    assert told.planned == pytest.approx(sure.planned, abs=1e-9)


def test_a_disc_that_failed_before_the_outage_is_not_changed_again():
    # One position, exponential life: either it fails before week 20 or is changed then.
    positions = replace(
        fleet(n=1, planned=((20,),), life_years=0.5, shape=1.0, install_rate=1e-9),
        due_chance=np.ones((1, 1)),
        young_chance=np.zeros((1, 1)),
    )
    found = forecast_demand(positions, n_weeks=20, fitting_loss=0.0).groups[0]
    law = positions.current
    rate = np.exp(-law.wear_location[0, 0])
    assert law.wear_sigma[0, 0] == pytest.approx(1.0)
    kept = np.exp(-rate * 20 * 7 / 365.25)
    assert found.pmf[20, 0] == pytest.approx(0.0, abs=1e-9)
    assert found.planned[20] == pytest.approx(kept, abs=1e-6)
    assert found.pmf[20, 1] == pytest.approx(kept * (1 - np.log(kept)), abs=1e-4)


def test_chances_outside_zero_to_one_are_refused():
    positions = fleet(n=2, planned=((20,), (20,)))
    wrong = replace(positions, due_chance=np.full((1, 2), 1.2), young_chance=np.zeros((1, 2)))
    with pytest.raises(ValueError, match="chances must lie in"):
        forecast_demand(wrong, n_weeks=30)
