"""The watch on a simulated plant: what is expected adds up, and a planted change is found."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analytics.early.record_next import narrowing, record_next
from analytics.early.usual_fitting import (
    levels,
    monthly,
    other_failures,
    reached_by_change,
    shares,
    usual_fitting,
)
from analytics.early.watch import watch
from analytics.early.watched_lots import lots_by_month
from analytics.early.watched_records import found_defects
from analytics.early.watching import watching
from analytics.errors import InputError, NotEstimable
from analytics.survival.unclear_endings import fit_to_lives

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "studies"))

from early_fleets import World, simulate


@pytest.fixture(scope="module")
def plant():
    lives = simulate(World(positions=400, crews=4, slips=(0.5, 1.0, 1.0, 1.5)), 3)
    lives["site"] = np.where(lives["position_id"].str[-1] < "5", "north", "south")
    return lives, *fit_to_lives(lives, n_draws=60, seed=1)


@pytest.fixture(scope="module")
def usual(plant):
    return usual_fitting(*plant)


def test_as_many_are_expected_as_were_observed(usual):
    one = np.ones(len(usual.lives))

    assert usual.expected.sum() == pytest.approx(shares(usual, one).sum())
    by_month = monthly(usual, np.zeros(len(one), dtype=int), one, 1)
    assert by_month.sum() == pytest.approx(usual.expected.sum(), rel=1e-6)


def test_a_duty_that_changed_counts_by_its_equivalent(plant, usual):
    lives, fleet, model = plant
    harder = replace(fleet.data, wear_design=fleet.data.wear_design + 0.2)
    changed = usual_fitting(lives, replace(fleet, data=harder), model)

    assert np.allclose(changed.duty, usual.duty + 0.2)
    assert not np.allclose(changed.wear, usual.wear)


def test_expected_by_life_against_the_installation_law_itself(plant, usual):
    # Usual fitting is one practice for all, so seen from new each life expects C t^k, averaged
    # over the parameter draws.
    draws = plant[2].hazard_draws
    rate, shape = draws.install_log_rate[:50], draws.install_shape[:50]
    mean = np.log(
        np.exp(rate)[:, None] * usual.lives["age_years"].to_numpy() ** shape[:, None]
    ).mean(axis=0)
    apart = np.log(usual.expected) - mean

    assert np.ptp(apart[usual.lives["age_years"] > 0.1]) < 0.05


def test_levels_order_the_crews_as_they_slip(usual):
    level = pd.Series(levels(usual, usual.lives["crew"])).groupby(usual.lives["crew"]).first()

    assert level["crew 0"] < 1 < level["crew 3"]


def test_a_change_reaches_more_and_more(usual):
    reached = reached_by_change(usual)

    assert (np.diff(reached) >= 0).all()
    assert 0 < reached[0] < 0.5 < reached[-1] <= 1


def test_failures_by_wear_add_up_over_the_log(usual):
    every = np.ones(len(usual.lives), dtype=bool)
    end = float(usual.edges[-1])
    seen, awaited = other_failures(usual, every, np.ones(len(every)), (-1.0, end + 1))
    halves = [
        other_failures(usual, every, np.ones(len(every)), window)
        for window in ((-1.0, end / 2), (end / 2, end + 1))
    ]

    assert seen == pytest.approx(awaited)
    assert sum(half[1] for half in halves) == pytest.approx(awaited)


def changed(lives, seed, crew="crew 1", since="2021-01-01"):
    """Let a crew find half of what could be amiss amiss since a day."""
    since = pd.Timestamp(since)
    late = lives["crew"].eq(crew) & lives["installed_on"].ge(since)
    rng = np.random.default_rng(seed)
    for name in ("seat_clean", "gap_even", "studs_lubricated", "gasket_suitable"):
        worse = late & lives[name].notna() & (rng.random(len(lives)) < 0.45)
        lives[name] = lives[name].mask(worse, other=False)
    return lives


def test_a_crew_that_grows_careless_is_seen_in_its_records(plant):
    lives = changed(plant[0].copy(), 1)
    found = found_defects(lives)

    answer = watch(usual_fitting(*plant), found, pd.DataFrame())

    signals = answer.signals[answer.signals["chart"] == "records"]
    crew = signals[(signals["group"] == "crew 1") & (signals["direction"] == "rose")]
    assert len(crew) == 1
    assert abs((crew["since"].item() - pd.Timestamp("2021-01-01")).days) < 120
    assert crew["signalled_on"].item() < pd.Timestamp("2023-01-01")
    assert crew["still"].item()
    assert crew["low"].item() > 1


def test_steady_crews_however_unlike_raise_nothing(plant):
    lives, fleet, model = plant

    answer = watching(lives, fleet, model)

    assert answer.watch.signals.empty
    assert set(answer.watch.charts["chart"]) >= {"failures", "records"}
    assert (answer.watch.charts["months_to_fall"].dropna() > 0).all()
    last = answer.watch.path.groupby(["chart", "kind", "group"])["difference"].last()
    assert abs(last["failures", "all", "all"]) < 1e-6


def test_groups_below_five_events_have_no_chart(plant):
    lives = plant[0].copy()
    few = lives.index[lives["ending"].eq("premature")][:3]
    lives.loc[few, "crew"] = "rare"
    fleet, model = fit_to_lives(lives, n_draws=60, seed=1)

    charts = watching(lives, fleet, model).watch.charts

    assert "rare" not in set(charts.loc[charts["chart"] == "failures", "group"])


def test_lots_expect_what_their_discs_do(plant, usual):
    lives, fleet, model = plant

    lots = lots_by_month(usual, fleet, model, fewest=1.0)

    seen = pd.Series(usual.events).groupby(usual.lives["lot"]).sum()
    assert lots.to_numpy().sum() == pytest.approx(seen[lots.index].sum(), rel=0.25)


def test_without_installation_hazard_there_is_no_watch(plant):
    lives, fleet, model = plant
    from dataclasses import replace

    with pytest.raises(NotEstimable, match="tells installation and wear apart"):
        usual_fitting(lives, fleet, replace(model, hazard_draws=None, two_hazard=None))


def test_recording_narrows_and_the_less_recorded_the_more(plant):
    lives = plant[0].copy()
    rng = np.random.default_rng(8)
    for name, part in (("gap_even", 0.7), ("seat_clean", 0.3)):
        blank = pd.Series(rng.random(len(lives)) < part, index=lives.index)
        lives[name] = lives[name].mask(blank)
    fleet, model = fit_to_lives(lives, n_draws=60, seed=1)

    gap, seat = (narrowing(model.two_hazard, name) for name in ("gap_even", "seat_clean"))

    assert 0.2 < gap.owed < 0.95
    assert gap.effect < seat.effect < 1.0
    with pytest.raises(InputError, match="check must be one of the fit's"):
        narrowing(model.two_hazard, "tag_matches")


def test_a_check_on_every_record_has_nothing_to_gain(plant):
    lives = simulate(World(positions=120, unrecorded=0.0), 4)
    _, model = fit_to_lives(lives, n_draws=60, seed=1)
    found = narrowing(model.two_hazard, "gap_even")

    assert (found.effect, found.owed) == pytest.approx((1.0, 1.0))
    defects = pd.DataFrame({"check": ["gap_even"], "recorded_pct": [100.0]})
    assert record_next(model.two_hazard, defects).empty
