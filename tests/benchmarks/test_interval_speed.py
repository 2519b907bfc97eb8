"""10,000 positions x 200 draws against a scipy minimisation per position and draw."""

import math
import time

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from analytics.intervals.cost import least_cost
from analytics.survival.law import Family, LifeLaw

POSITIONS, DRAWS, SAMPLE = 10_000, 200, 60
UPSETS = 0.05


def one_by_one(m: float, s: float, a: float, k: float, ratio: float) -> float:
    """Least-cost age the plain way: bounded search on a cost by quadrature, scalars throughout."""
    scale, shape, rate = math.exp(m), 1 / s, math.exp(a)

    def alive(t: float) -> float:
        return math.exp(-((t / scale) ** shape) - rate * t**k - UPSETS * t)

    def cost(age: float) -> float:
        return (ratio - (ratio - 1) * alive(age)) / quad(alive, 0, age)[0]

    return float(minimize_scalar(cost, bounds=(1e-3, 3 * scale), method="bounded").x)


@pytest.mark.benchmark
def test_a_hundred_times_faster_than_scipy_one_by_one():
    rng = np.random.default_rng(1)
    law = LifeLaw(
        family=Family.WEIBULL,
        wear_location=rng.normal(2, 0.6, (1, POSITIONS)) + rng.normal(0, 0.1, (DRAWS, POSITIONS)),
        wear_sigma=np.exp(rng.normal(-0.9, 0.1, (DRAWS, 1))),
        install_log_rate=rng.normal(-3.5, 0.3, (DRAWS, POSITIONS)),
        install_shape=rng.uniform(0.5, 0.7, (DRAWS, 1)),
    )
    ratio = rng.uniform(6.0, 40.0, POSITIONS)
    least_cost(law_of(law, 1), 1.0, ratio[:1], demand_rate=UPSETS)  # compiled before the clock

    began = time.process_time()
    found = least_cost(law, 1.0, ratio, demand_rate=UPSETS)
    fast = (time.process_time() - began) / (POSITIONS * DRAWS)

    draws, units = rng.integers(0, DRAWS, SAMPLE), rng.integers(0, POSITIONS, SAMPLE)
    picks = list(zip(draws, units, strict=True))
    began = time.process_time()
    ages = [
        one_by_one(
            law.wear_location[d, u], law.wear_sigma[d, 0], law.install_log_rate[d, u],
            law.install_shape[d, 0], ratio[u],
        )
        for d, u in picks
    ]  # fmt: skip
    slow = (time.process_time() - began) / SAMPLE

    print(
        f"{1e6 * fast:.2f} us against {1e6 * slow:.0f} us each: {slow / fast:.0f} times faster;"
        f" all {POSITIONS * DRAWS:,} in {fast * POSITIONS * DRAWS:.1f} s of processor time"
    )
    assert [found.age_years[d, u] for d, u in picks] == pytest.approx(ages, rel=1e-3)
    assert slow / fast >= 100


def law_of(law: LifeLaw, units: int) -> LifeLaw:
    return LifeLaw(
        family=law.family,
        wear_location=law.wear_location[:, :units],
        wear_sigma=law.wear_sigma,
        install_log_rate=law.install_log_rate[:, :units],
        install_shape=law.install_shape,
    )
