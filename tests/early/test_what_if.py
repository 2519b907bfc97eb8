import re

import numpy as np
import pandas as pd
import pytest
from hand_made import BEGINS, EXPONENT, EXPORT, RATE, SCALE, SHAPE, WEAR_SHAPE, fitted, plant

from analytics.early.what_if import BEST, CLEAN, LOWERED, what_if, with_unclear
from analytics.errors import NotEstimable
from analytics.findings import FRAMES
from analytics.survival.two_hazard_shares import share_owed

POSITIONS = pd.DataFrame({"position_id": ["P00"], "unplanned_cost": [700.0]})
LIVES = plant()
FAILURES = 24


def asked(lives=LIVES, positions=POSITIONS, lower_to=None, **model):
    fleet, life_model = fitted(lives, **model)
    table = what_if(
        lives,
        fleet,
        life_model,
        positions,
        begins=BEGINS.date(),
        export=EXPORT.date(),
        lower_to=lower_to,
    )
    return table.set_index("change")


def test_defects_that_do_nothing_avoid_nothing():
    table = asked(plant(80), gap=0.0, seat=0.0)
    np.testing.assert_allclose(table.loc[[CLEAN, BEST, "gap_even", "seat_clean"], "avoided"], 0.0)


def test_what_is_owed_whole_is_avoided_whole():
    # A clean disc never fails here: the defect carries all, and nothing is only put off.
    lives = LIVES.copy()
    lives["gap_even"] = lives["gap_even"].mask(lives["ending"].eq("premature"), False)
    table = asked(lives, gap=25.0, seat=0.0, rate=1e-9, exponent=0.0, scale=1e6)
    assert table.loc[CLEAN, "avoided"] == pytest.approx(FAILURES)
    assert table.loc[CLEAN, "share"] == pytest.approx(1.0)
    assert table.loc["gap_even", "avoided"] == pytest.approx(FAILURES)
    assert table.loc["seat_clean", "avoided"] == pytest.approx(0.0)


def test_clean_avoids_what_is_owed_less_what_comes_later():
    fleet, model = fitted(LIVES)
    owed = share_owed(model.hazard_draws, fleet.data).failures_owed.estimate
    clean = asked().loc[CLEAN]
    assert clean["not_then"] == pytest.approx(owed)
    assert 0.8 * owed < clean["avoided"] < owed


def test_no_step_avoids_more_than_the_whole_and_steps_do_not_add_up():
    table = asked()
    steps = table.loc[["gap_even", "seat_clean"], "avoided"]
    whole = table.loc[CLEAN, "avoided"]
    assert (steps > 0).all()
    assert (steps < whole).all()
    assert steps.sum() > whole


def test_a_mended_step_spares_its_part_of_the_hazard():
    # By hand, failure by failure, before what comes later.
    lives = plant(4)
    lives["seat_clean"] = True
    lives.loc[[0, 2, 4], "gap_even"] = False
    lives.loc[6, "gap_even"] = True
    table = asked(lives, rate=0.02, exponent=0.0, seat=0.0)
    age = lives["age_years"][[0, 2, 4]]
    early = 0.02 * SHAPE * age ** (SHAPE - 1)
    wear = WEAR_SHAPE / SCALE * (age / SCALE) ** (WEAR_SHAPE - 1)
    expected = (1 - (early + wear) / (early * np.exp(1.5) + wear)).sum()
    got = table.loc["gap_even"]
    assert got["not_then"] == pytest.approx(expected, rel=1e-6)
    assert got["avoided"] < expected


def test_money_is_each_failures_own_cost_or_its_positions():
    lives = LIVES.copy()
    lives.loc[lives["ending"].eq("premature"), "cost"] = np.nan
    free = asked(lives, POSITIONS.iloc[:0])
    assert free.loc[CLEAN, "money"] == 0.0
    assert free.loc[CLEAN, "not_priced"] == pytest.approx(free.loc[CLEAN, "avoided"])
    every = pd.DataFrame({"position_id": lives["position_id"].unique(), "unplanned_cost": 700.0})
    usual = asked(lives, every).loc[CLEAN]
    assert usual["money"] == pytest.approx(700.0 * usual["avoided"])
    assert usual["money_low"] <= usual["money"] <= usual["money_high"]
    assert usual["not_priced"] == 0.0
    logged = asked(LIVES.assign(cost=250.0), every).loc[CLEAN]
    assert logged["money"] == pytest.approx(250.0 * logged["avoided"])


def test_a_year_is_a_fourth_of_four_years():
    clean = asked().loc[CLEAN]
    assert clean["per_year"] == pytest.approx(clean["avoided"] / 4, rel=1e-3)
    assert clean["share"] == pytest.approx(clean["avoided"] / FAILURES)


def test_the_ratio_is_lowered_where_it_wears_most_whoever_failed():
    row = asked().loc[LOWERED]
    highest = LIVES.groupby("position_id")["operating_ratio"].first().nlargest(10).index
    assert set(row["positions"].split()) == set(highest)
    assert "lowered to 0.77 (forward)" in row["note"]


def test_a_lower_ratio_avoids_what_the_hazards_under_both_duties_say():
    # By hand, failure by failure: 1 - h(t; low) / h(t; high), before what comes later.
    fleet, model = fitted(LIVES)
    row = asked().loc[LOWERED]
    failed = LIVES[
        LIVES["ending"].eq("premature") & LIVES["position_id"].isin(row["positions"].split())
    ]
    ratio, age = failed["operating_ratio"], failed["age_years"]
    goal = LIVES["operating_ratio"].median()
    effect = 1.5 * ~failed["gap_even"].astype(bool) + 0.7 * ~failed["seat_clean"].astype(bool)
    early = RATE * SHAPE * age ** (SHAPE - 1) * np.exp(effect)

    def wear(at):
        scale = SCALE * (at / np.exp(fleet.design.log_ratio)) ** EXPONENT
        return WEAR_SHAPE / scale * (age / scale) ** (WEAR_SHAPE - 1)

    expected = (1 - (early + wear(goal)) / (early + wear(ratio))).sum()
    assert row["not_then"] == pytest.approx(expected, rel=1e-3)


def test_a_ratio_outside_what_was_seen_is_clipped_and_said():
    row = asked(lower_to=0.3).loc[LOWERED]
    lowest = LIVES["operating_ratio"].quantile(0.05)
    assert f"forward clipped to {lowest:.2f}" in row["note"]
    deeper = asked(lower_to=lowest).loc[LOWERED]
    assert row["avoided"] == pytest.approx(deeper["avoided"])


def test_a_ratio_is_never_raised_and_one_that_never_varied_is_refused():
    row = asked(lower_to=2.0).loc[LOWERED]
    assert row["avoided"] < asked().loc[LOWERED, "avoided"]
    alike = LIVES.assign(operating_ratio=0.7)
    row = asked(alike).loc[LOWERED]
    assert np.isnan(row["avoided"])
    assert "not in the life model" in row["note"]


def test_the_best_quarters_practice_is_said_with_its_limits():
    note = asked(plant(80)).loc[BEST, "note"]
    said = re.search(r"on (\d+) % \[(\d+) to (\d+)\] of records instead of (\d+) %", note)
    best, low, high, fleet = (int(part) for part in said.groups())
    assert low <= best <= high
    assert best < fleet


def test_too_few_crews_are_no_yardstick():
    row = asked(plant(crews=3)).loc[BEST]
    assert np.isnan(row["avoided"])
    assert "4 named crews with at least 10 records" in row["note"]


def test_no_failure_no_answer():
    lives = LIVES.assign(ending="in_service")
    fleet, model = fitted(lives)
    with pytest.raises(NotEstimable, match="at least one failure on record, got none"):
        what_if(lives, fleet, model, POSITIONS, begins=BEGINS.date(), export=EXPORT.date())


def test_the_columns_are_those_of_the_findings():
    table = asked().reset_index()
    both = with_unclear(table, table.assign(avoided=7.0), None)
    assert list(both.columns) == FRAMES["what_if"].split()
    assert (both["avoided_all_unclear"] == 7.0).all()
    assert both["avoided_no_unclear"].isna().all()
