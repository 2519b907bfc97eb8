"""Expected cost over a stretch: closed form, simulation, refinement."""

import numpy as np
import pytest
from interval_cases import some_law, wear_only

from analytics.intervals.segments import segment_costs
from analytics.survival.law import Family, LifeLaw


def test_constant_hazard_costs_its_rate():
    # Poisson: ends come at rate 1/4 + 0.1 whatever the age; failures cost 10, upsets 6.
    law = wear_only(1.0, 4.0, Family.EXPONENTIAL)
    found = segment_costs(
        law, np.array([2.0]), np.array([10.0]), np.array([0.1]), np.array([6.0]), horizon_years=5.0
    )
    for curve in (found.new, found.aged):
        for years in (0.5, 2.0, 4.7):
            assert found.of(0, curve, years) == pytest.approx((2.5 + 0.6) * years, rel=1e-3)


def simulate(law: LifeLaw, age: float, years: float, rng: np.random.Generator, n: int) -> float:
    """Mean ends in (0, years] of one draw of a Weibull wear law with installation hazard."""
    m, s, a, k = (
        float(x[0, 0])
        for x in (law.wear_location, law.wear_sigma, law.install_log_rate, law.install_shape)
    )

    def life(held: float, size: int) -> np.ndarray:
        worn = np.exp(m) * (rng.exponential(size=size) + (held * np.exp(-m)) ** (1 / s)) ** s
        fitted = ((rng.exponential(size=size) + np.exp(a) * held**k) * np.exp(-a)) ** (1 / k)
        return np.minimum(worn, fitted) - held

    ends, clock = 0, life(age, n)
    while (clock < years).any():
        ends += int((clock < years).sum())
        clock = clock[clock < years]
        clock = clock + life(0.0, len(clock))
    return ends / n


@pytest.mark.parametrize(("age", "years"), [(0.0, 1.0), (0.0, 5.0), (2.5, 1.0), (2.5, 5.0)])
def test_renewals_agree_with_simulation(age, years):
    law = some_law(draws=1, units=1, seed=4)
    found = segment_costs(
        law, np.array([age]), np.ones(1), np.zeros(1), np.ones(1), horizon_years=6.0
    )
    n = 200_000
    seen = simulate(law, age, years, np.random.default_rng(8), n)

    assert found.of(0, found.aged, years) == pytest.approx(seen, abs=4 * np.sqrt(seen / n) + 1e-3)
    if age == 0:
        assert found.of(0, found.aged, years) == pytest.approx(
            found.of(0, found.new, years), rel=1e-4
        )


def test_draws_are_thinned_evenly():
    law = some_law(draws=400, units=2)
    few = segment_costs(law, np.zeros(2), np.ones(2), np.zeros(2), np.ones(2), horizon_years=4.0)
    whole = np.mean(
        [
            segment_costs(
                LifeLaw(
                    family=law.family,
                    wear_location=law.wear_location[start : start + 40],
                    wear_sigma=law.wear_sigma[start : start + 40],
                    install_log_rate=law.install_log_rate[start : start + 40],
                    install_shape=law.install_shape[start : start + 40],
                ),
                np.zeros(2), np.ones(2), np.zeros(2), np.ones(2), horizon_years=4.0,
            ).new[-1]
            for start in range(0, 400, 40)
        ],
        axis=0,
    )  # fmt: skip
    assert few.new[-1] == pytest.approx(whole, rel=0.05)
