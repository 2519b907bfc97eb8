import time

import numpy as np
import pytest
from demand_cases import fleet, upsets
from scipy.stats import binom, poisson

from analytics.spares.counts import WEEK_YEARS, Pieces, position_counts
from analytics.spares.demand import forecast_demand
from analytics.spares.opened_together import unit_counts
from analytics.spares.upset_histories import opened_discs, upset_histories
from analytics.spares.upsets import UpsetRates

WEEKS = 104


def pieces_of(positions, unit, planned=()) -> Pieces:
    return position_counts(
        positions.current,
        positions.following,
        unit,
        age_years=float(positions.age_years[unit]),
        other_rate=np.zeros(1),
        planned_weeks=planned,
        n_weeks=WEEKS,
        step_weeks=1.0,
        whole_fresh=True,
    )


def everlasting(n: int) -> list[Pieces]:
    positions = fleet(n=n, install_rate=1e-12, life_years=1e6)
    return [pieces_of(positions, i) for i in range(n)]


def test_discs_that_never_fail_leave_a_plain_compound_law():
    rate, hits = np.array([0.4]), np.array([0.0, 0.0, 0.75, 0.25])

    found = unit_counts(everlasting(3), rate, hits, n_weeks=WEEKS)[:, WEEKS, 0]

    # Independent route: a Poisson number of upsets, each of two or three discs.
    mean = 0.4 * WEEKS * WEEK_YEARS
    law = np.zeros(60)
    for upset in range(12):
        threes = binom.pmf(np.arange(upset + 1), upset, 0.25)
        law[2 * upset + np.arange(upset + 1)] += poisson.pmf(upset, mean) * threes
    np.testing.assert_allclose(found[:12], law[:12], atol=1e-3)
    assert found.sum() == pytest.approx(1.0, abs=1e-9)


def test_one_upset_renews_a_disc_as_a_planned_replacement_would():
    # Rate so small that a second upset does not matter: the excess over none is one upset in
    # any week, and each week can be put in by hand as a planned replacement of both.
    positions, rate = fleet(n=2), 1e-4
    two = [pieces_of(positions, i) for i in range(2)]

    found = unit_counts(two, np.array([rate]), np.array([0.0, 0.0, 1.0]), n_weeks=WEEKS)

    none = np.zeros(len(found))
    apart = np.convolve(*(piece.joined[:, WEEKS, 0] for piece in two))[: len(found)]
    none[: len(apart)] = apart
    by_hand = np.zeros(40)
    for week in range(1, WEEKS + 1):
        # In the middle of the week: the mean of its two ends.
        for end in (max(week - 1, 1), week):
            laws = [pieces_of(positions, i, (end,)).joined[:, WEEKS, 0] for i in range(2)]
            law = np.convolve(*laws)
            by_hand[2 : 2 + len(law)] += law / (2 * WEEKS)
    chance = -np.expm1(-rate * WEEKS * WEEK_YEARS)
    given_one = (found[:, WEEKS, 0] - (1 - chance) * none) / chance
    np.testing.assert_allclose(given_one, by_hand[: len(given_one)], atol=3e-3)


def test_a_planned_date_and_an_upset_in_its_week_both_renew():
    positions = fleet(n=2, install_rate=1e-12, life_years=0.5, shape=8.0)
    two = [pieces_of(positions, i, (52,)) for i in range(2)]

    found = unit_counts(two, np.array([0.2]), np.array([0.0, 0.0, 1.0]), n_weeks=WEEKS)

    np.testing.assert_allclose(found.sum(axis=0), 1.0, atol=1e-6)
    assert (found >= 0).all()


def test_the_same_in_every_run_and_wider_than_apart():
    positions, hits = fleet(n=6, draws=20), upsets(20, rate=0.4, n=6)

    one, two = (forecast_demand(positions, hits).groups[0].pmf for _ in range(2))

    np.testing.assert_array_equal(one, two)


def test_histories_share_out_weeks_and_sizes_exactly():
    hits = np.array([0.0, 0.0, 0.5, 0.25, 0.25])

    struck = upset_histories(2, 1040, hits, WEEKS, np.random.default_rng(4))

    # 2 x 1,040 upsets of 2.75 discs on average, alike in every week.
    assert struck.sum() == 2 * 1040 * 2.75
    per_week = (struck.sum(axis=1) > 0).sum(axis=0)
    assert per_week[0] == 0
    assert per_week[1:].min() >= 18
    assert per_week[1:].max() <= 20


def test_alike_histories_of_a_kind_are_counted_together():
    struck = np.zeros((2, 3, 5), dtype=np.uint8)
    struck[0, :, 2] = 1
    struck[1, 2, 4] = 1

    rows, count, start = opened_discs(struck, np.array([0, 0, 1]))

    assert rows[:, :2].tolist() == [[0, 0], [0, 1], [1, 1]]
    assert count.tolist() == [2, 1, 1]
    assert start.tolist() == [0, 2, 3]


def test_one_upset_of_hundreds_of_discs_stays_affordable():
    n, draws = 300, 8
    positions = fleet(n=n, draws=draws, life_years=8.0)
    positions.unit[:] = "one unit"
    opened = np.zeros(n)
    opened[[0, n - 1]] = 0.5
    rates = UpsetRates(
        units=("one unit",),
        positions=np.array([n]),
        events_per_year=np.full((draws, 1), 0.1),
        opened=opened,
    )
    forecast_demand(fleet(), upsets())

    start = time.process_time()
    group = forecast_demand(positions, rates, fitting_loss=0.0).groups[0]

    assert time.process_time() - start < 15
    # Half of 0.1 upsets a year opens all 300: that far out lies the tail, and nothing between.
    never = np.exp(-0.05 * WEEKS * WEEK_YEARS)
    assert group.pmf[WEEKS, :250].sum() == pytest.approx(never, abs=2e-3)
    assert group.mean[WEEKS] == pytest.approx(
        group.pmf[WEEKS] @ np.arange(group.pmf.shape[1]), rel=1e-6
    )
