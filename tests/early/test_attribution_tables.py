"""What is read off the shares: the table of steps, the table of failures, the years."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hand_made import fitted, plant

from analytics.early.answer import early_answer
from analytics.early.attribution import advice, defect_table, failure_table
from analytics.early.rivals import LOT, SPIKE, Rival, Verdict
from analytics.early.worth import failure_costs, owed_by_year, owed_tallies
from analytics.errors import NotEstimable
from analytics.estimate import Estimate
from analytics.findings import FRAMES
from analytics.installs.checklist import CHECKLIST, DEFECTS
from analytics.survival.fleet_data import fleet_data
from analytics.survival.two_hazard_shares import share_owed

LIVES = plant()
POSITIONS = pd.DataFrame({"position_id": ["P00"], "unplanned_cost": [700.0]})


def fit_of(names, effect=1.0, error=0.2):
    """Only what the table of steps reads of a fit."""
    one = Estimate(estimate=effect, low=effect - 1.96 * error, high=effect + 1.96 * error)
    return SimpleNamespace(estimates=SimpleNamespace(defect_effects=dict.fromkeys(names, one)))


def tables(lives=LIVES, rivals=None, **model):
    fleet, life_model = fitted(lives, **model)
    draws = life_model.hazard_draws
    owed = share_owed(draws, fleet.data, tallies=owed_tallies(lives, fleet, POSITIONS))
    steps = defect_table(lives, fleet, fit_of(fleet.data.defect_names), owed, years=4.0)
    return SimpleNamespace(
        fleet=fleet,
        owed=owed,
        steps=steps.set_index("check"),
        failures=failure_table(lives, fleet, draws, owed, rivals or {}),
        by_year=owed_by_year(lives, fleet, owed),
    )


def test_steps_add_up_to_what_is_owed():
    found = tables()
    assert found.steps["failures_owed"].sum() == pytest.approx(found.owed.failures_owed.estimate)
    per_year = found.steps["failures_owed"] / 4
    pd.testing.assert_series_equal(found.steps["owed_per_year"], per_year, check_names=False)


def test_years_add_up_to_the_steps():
    found = tables()
    by_check = found.by_year.groupby("check")
    for what in ("failures_owed", "cost_owed"):
        steps = found.steps[what].dropna()
        np.testing.assert_allclose(by_check[what].sum()[steps.index], steps)
    assert list(found.by_year.columns) == FRAMES["owed_by_year"].split()
    first = found.failures[found.failures["ended_on"].dt.year == 2018]["share"].sum()
    assert found.by_year.query("year == 2018")["failures_owed"].sum() == pytest.approx(first)


def test_money_is_the_failures_own_cost_by_their_shares():
    found = tables()
    cost = LIVES["cost"].to_numpy()[found.fleet.life[found.owed.failures]]
    expected = dict(zip(found.fleet.data.defect_names, cost @ found.owed.defect_share, strict=True))
    for check, worth in expected.items():
        assert found.steps.loc[check, "cost_owed"] == pytest.approx(worth)
    assert (found.steps["not_priced"].dropna() == 0).all()


def test_a_failure_without_a_cost_takes_its_positions_or_is_counted():
    lives = LIVES.assign(cost=np.nan)
    cost = failure_costs(lives, POSITIONS)
    assert cost[lives["position_id"] == "P00"].tolist() == [700.0, 700.0]
    assert np.isnan(cost[lives["position_id"] != "P00"]).all()
    assert np.isnan(failure_costs(lives, POSITIONS[["position_id"]])).all()
    found = tables(lives)
    lone = found.owed.defect_share[found.owed.failures == 0].sum()
    assert found.steps["not_priced"].sum() + lone == pytest.approx(
        found.owed.failures_owed.estimate, abs=1e-6
    )


def test_every_check_has_its_row_worst_first_and_those_out_of_the_model_blank():
    found = tables().steps
    assert sorted(found.index) == sorted(DEFECTS)
    assert list(found.index[:2]) == ["gap_even", "seat_clean"]
    blank = found.loc["flow_direction"]
    assert np.isnan(
        blank[["failures_owed", "log_effect", "cost_owed", "owed_per_year"]].astype(float)
    ).all()
    assert blank["recorded_pct"] == 100.0
    assert not blank["flagged"]
    assert found.loc["gap_even", "flagged"]
    # 12 of 48 records of the gap and 8 of the seat are amiss
    assert found.loc[["gap_even", "seat_clean"], "defect_pct"].tolist() == pytest.approx(
        [25.0, 100 / 6]
    )


def test_an_effect_as_wide_as_itself_is_not_flagged():
    fleet, model = fitted(LIVES)
    owed = share_owed(model.hazard_draws, fleet.data)
    steps = defect_table(LIVES, fleet, fit_of(fleet.data.defect_names, 0.2, 0.2), owed)
    assert not steps["flagged"].any()
    assert steps["cost_owed"].isna().all()


def test_failures_are_listed_newest_first_with_shares_of_a_whole():
    failures = tables().failures
    assert len(failures) == 24
    assert failures["ended_on"].is_monotonic_decreasing
    assert failures["share"].between(0, 1).all()
    assert (failures["share_low"] <= failures["share"]).all()
    assert (failures["share"] <= failures["share_high"]).all()
    assert failures["percentile"].between(0, 1).all()


def test_the_main_defect_carries_most_and_is_blank_without_one():
    failures = tables().failures.set_index("life_id")
    assert failures.loc["I00a", "main_defect"] == "gap_even"  # both amiss, the gap weighs more
    assert failures.loc["I03a", "main_defect"] == "seat_clean"
    assert failures.loc["I01a", ["main_defect", "defects_found"]].tolist() == ["", ""]
    assert failures.loc["I00a", "defects_found"] == "seat not clean; gap uneven"
    assert failures.loc["I01a", "share"] == 0.0


def test_a_defect_nobody_recorded_is_no_main_defect():
    lives = LIVES.copy()
    lives.loc[lives["life_id"].isin(["I02a", "I04a"]), "gap_even"] = pd.NA
    failures = tables(lives).failures.set_index("life_id")
    assert failures.loc["I02a", "main_defect"] == ""
    assert failures.loc["I02a", "share"] >= 0
    assert failures.loc["I02a", "share_high"] > failures.loc["I02a", "share_low"]


def test_the_percentile_is_the_clean_discs_chance_of_failing_by_then():
    found = tables(exponent=0.0)
    row = found.failures.iloc[0]
    hazard = 0.05 * row["age_years"] ** 0.5 + (row["age_years"] / 9.0) ** 3
    assert row["percentile"] == pytest.approx(1 - np.exp(-hazard))


def test_an_unclear_ending_counts_in_part_and_is_no_case():
    lives = LIVES.copy()
    lives.loc[0, "ending"] = "unclear"
    weight = lives["ending"].eq("premature").astype(float)
    weight[0] = 0.25
    fleet = fleet_data(lives, weight)
    _, model = fitted(LIVES)
    owed = share_owed(model.hazard_draws, fleet.data, tallies=owed_tallies(lives, fleet, POSITIONS))
    failures = failure_table(lives, fleet, model.hazard_draws, owed, {})
    assert "I00a" not in set(failures["life_id"])
    assert len(failures) == 23
    whole = tables()
    lost = 0.75 * whole.failures.set_index("life_id").loc["I00a", "share"]
    assert owed.failures_owed.estimate == pytest.approx(whole.owed.failures_owed.estimate - lost)
    worth = owed.tallied[0, :, 0].sum() + 0.75 * 1000.0 * (lost / 0.75)
    assert worth == pytest.approx(whole.owed.tallied[0, :, 0].sum())


def points_to(name, evidence="seen"):
    return Rival(name=name, verdict=Verdict.FOR, evidence=evidence)


@pytest.mark.parametrize(
    ("defect", "share", "alive", "said"),
    [
        ("gap_even", 0.2, [], CHECKLIST["gap_even"].mend),
        ("gap_even", 0.1, [points_to(LOT)], "take the lot's"),
        ("", 0.6, [], "record every check"),
        ("", 0.1, [points_to("the wrong disc")], "compare the tag"),
        ("", 0.1, [], "no recorded cause stands out"),
    ],
)
def test_advice_follows_the_strongest_explanation(defect, share, alive, said):
    assert advice(defect, share, alive).startswith(said)


def test_advice_stands_in_the_table_with_its_rivals():
    above = points_to("pressure too close to the burst pressure", "operating ratio 0.9 above")
    spike = Rival(name=SPIKE, verdict=Verdict.OPEN, evidence="no peak")
    failures = tables(rivals={"I01a": (above, spike)}).failures
    row = failures.set_index("life_id").loc["I01a"]
    assert row["rivals"] == "operating ratio 0.9 above; no peak"
    assert row["advice"].startswith("read the highest pressure")


def test_no_installation_hazard_no_answer():
    fleet, model = fitted(LIVES)
    with pytest.raises(NotEstimable, match="install checks on record"):
        early_answer(LIVES, fleet, model, {}, frozenset(), years=4.0)
