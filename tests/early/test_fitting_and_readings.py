"""How well discs were fitted, and the answers however unclear endings are read."""

import numpy as np
import pandas as pd
import pytest
from hand_made import BEGINS, EXPORT, RATE, SCALE, SHAPE, WEAR_SHAPE, fitted, plant

from analytics.early import unclear_readings
from analytics.early.fitting_quality import fitting_quality
from analytics.early.unclear_readings import every_reading
from analytics.early.what_if import CLEAN, LOWERED, ends_otherwise, remaining_years, what_if
from analytics.errors import NotEstimable
from analytics.findings import FRAMES
from analytics.lives.unclear import UnclearAs
from analytics.survival.model import fit_life_model

LIVES = plant()
NO_COSTS = pd.DataFrame({"position_id": []})


def quality(lives=LIVES):
    fleet, model = fitted(lives)
    table = fitting_quality(
        lives,
        fleet,
        model.hazard_draws,
        others=ends_otherwise(lives, fleet),
        remaining_years=remaining_years(lives),
    )
    return table.set_index(["of", "name"])


def asked(lives, fleet, model):
    return what_if(lives, fleet, model, NO_COSTS, begins=BEGINS.date(), export=EXPORT.date())


def test_sites_crews_and_years_each_add_up_to_the_fleet():
    table = quality()
    for kind in ("site", "crew", "year"):
        part = table.loc[kind]
        assert part["installs"].sum() == len(LIVES)
        assert part["failures"].sum() == pytest.approx(24)
        assert part["avoided"].sum() == pytest.approx(table.loc[("fleet", "all"), "avoided"])
    assert list(quality().reset_index().columns) == FRAMES["fitting"].split()


def test_the_first_year_is_the_chance_that_the_defects_add():
    # By hand: at one year on the fleet's duty, clean against the defects of each install.
    def fails(effect):
        return 1 - np.exp(-RATE * np.exp(effect) * 1.0**SHAPE - (1 / SCALE) ** WEAR_SHAPE)

    first = LIVES["life_id"].str.endswith("a")
    effect = 1.5 * ~LIVES["gap_even"].astype(bool) + 0.7 * ~LIVES["seat_clean"].astype(bool)
    expected = 100 * (fails(effect[first]) - fails(0.0)).sum() / len(LIVES)
    assert quality().loc[("fleet", "all"), "per_100"] == pytest.approx(expected)


def test_clean_fitting_adds_nothing():
    lives = plant(40)
    lives.loc[lives["crew"] == "crew 0", ["gap_even", "seat_clean"]] = True
    row = quality(lives).loc[("crew", "crew 0")]
    assert row["per_100"] == pytest.approx(0.0, abs=1e-9)
    assert row["avoided"] == 0.0


def test_a_crew_of_few_failures_shows_no_number():
    table = quality(plant(crews=6)).loc["crew"]
    assert table["failures"].tolist() == [4.0] * 6
    assert table[["passed", "avoided", "per_100", "per_100_low"]].isna().all(axis=None)
    assert (table["note"] == "fewer than 5 events: no number shown").all()
    assert list(table.index) == sorted(table.index)


def test_years_before_the_log_are_left_out():
    lives = LIVES.copy()
    lives.loc[0, "installed_on"] = pd.Timestamp("2011-01-01")
    assert "2011" not in quality(lives).loc["year"].index


def test_nothing_unclear_reads_alike_both_ways():
    fleet, model = fitted(LIVES)
    found = every_reading(LIVES, fleet, model, lambda *fit: asked(LIVES, *fit), n_draws=10, seed=1)
    table = found.what_if
    assert table["avoided_all_unclear"].tolist() == pytest.approx(
        table["avoided"].tolist(), nan_ok=True
    )
    assert found.share_all == found.share_no


def test_each_reading_is_fitted_and_asked_anew(monkeypatch):
    lives = LIVES.copy()
    lives.loc[0, "ending"] = "unclear"
    read = []

    def refit(lives, *, unclear, **_):
        read.append(unclear)
        if unclear is UnclearAs.NOT_PREMATURE:
            raise NotEstimable("too little")
        return fitted(lives.assign(ending=lives["ending"].replace("unclear", "premature")))

    monkeypatch.setattr(unclear_readings, "fit_to_lives", refit)
    fleet, model = fitted(lives)
    found = every_reading(lives, fleet, model, lambda *fit: asked(lives, *fit), n_draws=10, seed=1)
    clean = found.what_if.set_index("change").loc[CLEAN]
    assert read == [UnclearAs.PREMATURE, UnclearAs.NOT_PREMATURE]
    assert clean["avoided_all_unclear"] > clean["avoided"]
    assert np.isnan(clean["avoided_no_unclear"])
    assert found.share_all is not None
    assert found.share_no is None


def test_a_model_of_duty_alone_answers_for_the_ratio_alone():
    rng = np.random.default_rng(8)
    lives = plant(60).assign(gap_even=True, seat_clean=True)
    lives["operating_ratio"] = np.repeat(rng.uniform(0.5, 0.95, 60), 2)
    worn = np.exp(6 * np.log(0.7 / lives["operating_ratio"])) * rng.weibull(3.0, len(lives)) * 2
    for name in ("age_years", "lower_years", "upper_years"):
        lives[name] = np.minimum(worn, 4.0)
    lives["ending"] = np.where(worn < 4.0, "premature", "in_service")
    fleet, _ = fitted(lives, gap=0, seat=0)
    model = fit_life_model(fleet, n_draws=50, seed=1)
    assert model.hazard_draws is None
    table = asked(lives, fleet, model)
    assert table["change"].tolist() == [LOWERED]
    assert 0 < table["avoided_low"].iloc[0] <= table["avoided_high"].iloc[0] <= 60
