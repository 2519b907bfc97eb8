"""The outage plan: exact against every possible plan, limits kept, caps kept."""

import itertools

import numpy as np
import pytest
from interval_cases import some_law

from analytics.errors import InputError
from analytics.intervals.calendar import OutagePlan, choose_turnarounds
from analytics.intervals.cost import least_cost
from analytics.intervals.segments import segment_costs
from analytics.intervals.walk import walk

OUTAGES = np.array([0.8, 2.6, 4.4])
END = 5.6
AGES = np.array([0.5, 2.0, 3.4])
CAPS = np.array([3.0, 4.0, 5.0])
PLANNED = np.array([1.0, 1.5, 2.0])
UNPLANNED = np.array([12.0, 20.0, 9.0])
OWN = 4.0
RATE = 0.05


def plan(units: int = 3, **options: object) -> OutagePlan:
    return choose_turnarounds(
        some_law(draws=4, units=units), AGES[:units], CAPS[:units], OUTAGES,
        PLANNED[:units], UNPLANNED[:units],
        own_outage_cost=OWN, demand_rate=RATE, plan_years=END, **options,
    )  # type: ignore[arg-type]  # fmt: skip


def price_all() -> dict[tuple[int, tuple[bool, ...]], float]:
    """Price every plan of every position step by step, without graph or programme."""
    law = some_law(draws=4, units=3)
    spent = segment_costs(law, AGES, UNPLANNED, np.full(3, RATE), UNPLANNED, horizon_years=END)
    stop = np.minimum(
        np.median(least_cost(law, PLANNED, UNPLANNED, demand_rate=RATE).age_years, axis=0), CAPS
    )
    prices = {}
    for position in range(3):
        for chosen in itertools.product([False, True], repeat=3):
            clock, held, fresh, total = 0.0, AGES[position], False, 0.0
            stops = [*[t for t, c in zip(OUTAGES, chosen, strict=True) if c], END]
            for when in stops:
                while held + (when - clock) > CAPS[position] + 1e-9:
                    wait = max(CAPS[position] - held, 0.0)
                    total += spent.of(position, spent.new if fresh else spent.aged, wait)
                    total += PLANNED[position] + OWN
                    clock, held, fresh = clock + wait, 0.0, True
                total += spent.of(position, spent.new if fresh else spent.aged, when - clock)
                held += when - clock
                if when < END:
                    total += PLANNED[position]
                    held, fresh = 0.0, True
                clock = when
            prices[position, chosen] = total + worth(law, position, held, stop[position])
    return prices


def worth(law, position: int, held: float, stop: float) -> float:
    ages = np.full((2, 3), stop)
    ages[0] = max(min(held, stop), 1e-6)
    seen = walk(law, ages, demand_rate=RATE)
    early = 1 - seen.survived[:, :, position]
    area, alive = seen.exposure[:, :, position], seen.survived[:, :, position]
    whole = UNPLANNED[position] * early[1] + PLANNED[position] * alive[1]
    rest = whole - UNPLANNED[position] * early[0] - whole / area[1] * (area[1] - area[0])
    return float((rest / alive[0]).mean())


@pytest.fixture(scope="module")
def prices() -> dict[tuple[int, tuple[bool, ...]], float]:
    return price_all()


def total(prices, combination) -> float:
    return sum(prices[position, chosen] for position, chosen in enumerate(combination))


CHOICES = list(itertools.product([False, True], repeat=3))


def test_without_limits_every_position_gets_its_cheapest_plan(prices):
    best = sum(min(prices[p, c] for c in CHOICES) for p in range(3))
    found = plan()

    assert found.cost == pytest.approx(best, rel=1e-4)
    assert total(prices, map(tuple, found.replace)) == pytest.approx(best, rel=1e-4)
    assert found.cost_without_limits == found.cost


@pytest.mark.parametrize("limit", [(1, 1, 1), (0, 2, 1), (3, 0, 0)])
def test_with_crew_limits_no_other_plan_is_cheaper(prices, limit):
    best = min(
        total(prices, combination)
        for combination in itertools.product(CHOICES, repeat=3)
        if (np.sum(combination, axis=0) <= limit).all()
    )
    found = plan(crew_limit=limit)

    assert (found.replace.sum(axis=0) <= limit).all()
    assert found.cost == pytest.approx(best, rel=1e-4)
    assert found.cost >= found.cost_without_limits - 1e-9


def test_opening_a_unit_is_paid_once(prices):
    units, opening = ["a", "a", "b"], 3.0

    def opened(combination) -> int:
        first, second, third = (np.array(c) for c in combination)
        return int((first | second).sum() + third.sum())

    best = min(
        total(prices, combination) + opening * opened(combination)
        for combination in itertools.product(CHOICES, repeat=3)
    )
    assert plan(process_unit=units, opening_cost=opening).cost == pytest.approx(best, rel=1e-4)


def test_caps_force_outages_of_their_own():
    found = choose_turnarounds(
        some_law(draws=2, units=2), [0.0, 4.0], [1.0, 3.0], [2.5], 1.0, 10.0,
        own_outage_cost=2.0, plan_years=2.6,
    )  # fmt: skip
    # Cap 1 year: two of its own before the outage at 2.5 years; a disc past its cap: one today.
    assert found.own_outages.tolist()[0] == 2
    assert found.own_outages.tolist()[1] == 1


def test_bad_input_is_refused():
    law = some_law(draws=2, units=1)
    with pytest.raises(InputError, match="no cap, no recommendation"):
        choose_turnarounds(law, [1.0], [np.nan], [2.0], 1.0, 5.0, own_outage_cost=1.0)
    with pytest.raises(InputError, match="ascending times > 0 years"):
        choose_turnarounds(law, [1.0], [3.0], [2.0, 1.0], 1.0, 5.0, own_outage_cost=1.0)
    with pytest.raises(InputError, match="after the last outage"):
        choose_turnarounds(law, [1.0], [3.0], [2.0], 1.0, 5.0, own_outage_cost=1.0, plan_years=1.5)
