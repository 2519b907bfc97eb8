import numpy as np
import pytest
from demand_cases import fleet

from analytics.spares.counts import WEEK_YEARS, position_counts
from analytics.spares.knock_on import PARTS, common_hits, hit_effects, moments


def pmf_of(positions, unit, *, age=0.0, planned=(), knock_on=False):
    return position_counts(
        positions.current,
        positions.following,
        unit,
        age_years=age,
        other_rate=np.zeros(1),
        planned_weeks=planned,
        n_weeks=104,
        step_weeks=1.0,
        knock_on=knock_on,
    )


def test_moments_of_a_known_count():
    pmf = np.array([0.2, 0.5, 0.2, 0.1])
    tails = np.cumsum(pmf[::-1])[::-1][:, None, None]

    # E N = 1.2, E N(N - 1) = 0.2 x 2 + 0.1 x 6.
    np.testing.assert_allclose(moments(tails)[:, 0], [1.2, 1.0])


@pytest.mark.parametrize("planned", [(), (40,), (30, 82)])
def test_effect_is_the_change_that_one_more_replacement_makes(planned):
    # Independent route: a planned replacement put in at week x, in each week of the last quarter.
    positions = fleet(n=3)
    counts = np.arange(60)

    found = pmf_of(positions, 1, age=1.2, planned=planned, knock_on=True).knock_on

    alone = pmf_of(positions, 1, age=1.2, planned=planned).pmf[:, 104, 0]
    changes = []
    for week in range(79, 104):
        if week in planned:
            continue
        hit = tuple(sorted({*planned, week}))
        law = pmf_of(positions, 1, age=1.2, planned=hit).pmf[:, 104, 0]
        changes.append(law @ counts[: law.size] - alone @ counts[: alone.size])
    assert found[0, PARTS - 1, 104] == pytest.approx(np.mean(changes), abs=0.01)


def test_memoryless_discs_do_not_feel_a_hit():
    # Constant rate 0.8: fresh or not, the count is Poisson and R is 1.
    weeks = np.arange(105) * WEEK_YEARS
    poisson = np.stack([0.8 * weeks, (0.8 * weeks) ** 2])

    effects = hit_effects(poisson, poisson, (), 104)

    np.testing.assert_allclose(effects[0], 0.0, atol=1e-12)
    np.testing.assert_allclose(effects[1], 0.0, atol=2e-4)


def test_without_effects_common_hits_are_a_plain_compound_law():
    rates = np.array([[0.0, 5.0, 0.3, 0.1]])
    years = np.array([0.0, 1.0, 2.0, 4.0, 8.0])

    law = common_hits(rates, np.zeros((2, PARTS, 5)), years)[:, :, 0]

    counts = np.arange(len(law))
    np.testing.assert_allclose(law[0], np.exp(-0.4 * years), rtol=1e-9)
    np.testing.assert_allclose(law[2], 0.3 * years * np.exp(-0.4 * years), rtol=1e-9)
    np.testing.assert_allclose(counts @ law, (2 * 0.3 + 3 * 0.1) * years, rtol=1e-6)


def test_mean_and_spread_of_a_hit_are_carried():
    # One upset type of two discs, each sparing 0.3 failures with no second moment of R.
    effects = np.zeros((2, PARTS, 2))
    effects[0] = -0.3
    law = common_hits(np.array([[0.0, 0.0, 0.5]]), effects, np.array([0.0, 2.0]))[:, 1, 0]

    counts = np.arange(len(law))
    mean = counts @ law
    # Per disc: mean 0.7, E y(y - 1) = 2 x (-0.3); two of them, once on average.
    second = 2 * -0.6 + 2 * 0.7**2
    assert mean == pytest.approx(1.4, abs=1e-6)
    assert counts**2 @ law - mean**2 == pytest.approx(second + 1.4, abs=1e-6)
