import itertools

import numpy as np
import pytest

from analytics.spares.base_stock import poisson_pmf
from analytics.spares.budget import Candidate, budget_curve, spend


def candidates() -> list[Candidate]:
    return [
        Candidate(
            store="north", disc_code=code, demand=poisson_pmf(mean), held=held, unit_price=price
        )
        for code, mean, held, price in [
            ("D1", 2.0, 1, 1.0),
            ("D2", 0.7, 0, 1.0),
            ("D3", 3.0, 2, 1.0),
        ]
    ]


def met(item: Candidate, pieces: int) -> float:
    return float(item.demand @ np.minimum(np.arange(len(item.demand)), item.held + pieces))


def test_no_other_way_to_spend_serves_better():
    items = candidates()
    total = sum(item.demand @ np.arange(len(item.demand)) for item in items)

    curve = budget_curve(items)

    for pieces in range(7):
        best = max(
            sum(met(item, n) for item, n in zip(items, split, strict=True))
            for split in itertools.product(range(pieces + 1), repeat=3)
            if sum(split) == pieces
        )
        assert curve["service"].iloc[pieces] == pytest.approx(best / total, abs=1e-9)


def test_service_rises_ever_more_slowly_towards_one():
    curve = budget_curve(candidates())

    gains = np.diff(curve["service"])
    assert (gains > 0).all()
    assert (np.diff(gains) < 1e-12).all()
    assert curve["service"].iloc[-1] == pytest.approx(1.0, abs=1e-4)


def test_cheap_pieces_come_first():
    items = [
        Candidate(store="north", disc_code=code, demand=poisson_pmf(1.0), held=0, unit_price=price)
        for code, price in [("dear", 500.0), ("cheap", 50.0)]
    ]

    curve = budget_curve(items)

    assert curve["disc_code"].iloc[1] == "cheap"
    bought = spend(curve, 120.0)
    assert bought.to_dict("records") == [{"store": "north", "disc_code": "cheap", "buy": 2}]


def test_weights_put_the_critical_code_first():
    items = [
        Candidate(
            store="north",
            disc_code=code,
            demand=poisson_pmf(1.0),
            held=0,
            unit_price=100.0,
            weight=weight,
        )
        for code, weight in [("C", 1.0), ("A", 20.0)]
    ]

    assert budget_curve(items)["disc_code"].iloc[1] == "A"


def test_no_budget_buys_nothing_and_no_code_gives_one_row():
    assert spend(budget_curve(candidates()), 0.0).empty
    assert len(budget_curve([])) == 1


def test_refuses_a_code_without_price():
    item = Candidate(
        store="north", disc_code="D1", demand=poisson_pmf(1.0), held=0, unit_price=float("nan")
    )
    with pytest.raises(ValueError, match="unit price > 0"):
        budget_curve([item])
