import dataclasses

import numpy as np
import pytest
from stock_cases import steady

from analytics.spares.policy import Terms
from analytics.spares.reasons import reason
from analytics.spares.stock import Settings, plan_group
from analytics.spares.sums import shifted
from analytics.spares.supply import Supply

TERMS = Terms(unit_price=100.0, lead_time_weeks=8.0, lead_time_sd_weeks=2.0)


def say(group, supply, terms=TERMS, criticality="B") -> str:
    return reason(plan_group(group, supply, terms, criticality, Settings()))


def held(count: int) -> Supply:
    return Supply(shelf=count, usable=((None, count),))


def outage(week: int, discs: int):
    group = steady(0.02)
    planned = np.where(np.arange(105) >= week, discs, 0)
    return dataclasses.replace(
        group, planned=planned.astype(float), pmf=shifted(group.pmf, planned)
    )


def test_planned_replacements_are_named_as_the_cause():
    words = say(outage(14, 9), held(4))

    assert "9 of them planned" in words
    assert words.endswith("order this week")


def test_ample_stock_is_enough_until_a_named_week():
    words = say(steady(0.01), held(9))

    assert words.startswith("9 of 9 in store fit, 0 on order; enough for an order placed in ")
    assert words.endswith(": look again then")


def test_late_orders_say_how_late():
    assert "11 weeks late, so order now" in say(
        outage(2, 9), held(0), dataclasses.replace(TERMS, lead_time_weeks=12, lead_time_sd_weeks=0)
    )


def test_insurance_spare_says_why():
    words = say(steady(0.0001), held(0), criticality="A")

    assert "insurance spare: sole relief, and a new disc takes 8 weeks" in words


@pytest.mark.parametrize(
    ("discs", "words"), [(0, ""), (3, "3 more are paid for and burst in test")]
)
def test_test_discs_are_said(discs, words):
    assert words in say(steady(0.5), held(0), dataclasses.replace(TERMS, test_discs=discs))


def test_needs_are_never_smaller_than_what_makes_the_order_due():
    # The reason must hold water: the stock named is below the need named.
    for pieces in range(12):
        words = say(steady(0.3), held(pieces))
        if "may be used" in words:
            need = int(words.split("up to ")[1].split()[0])
            assert need > pieces


def test_an_order_under_way_that_comes_too_late_is_to_be_hastened():
    words = say(steady(0.3), Supply(arrivals=((30, 10),)))

    assert "late, so order now" in words
    assert words.endswith("before what is under way comes: expedite that")
