"""A duty that changes during a life: exact in the two-hazard model, and what ignoring it costs."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from stepped_fleets import EXPONENT, SHAPE, averaged, stepped_fleet

from analytics.survival.changing_duty import (
    ChangingDuty,
    as_stretches,
    equivalent_duty,
    used_life,
)
from analytics.survival.cumulative_exposure import fit_exposure
from analytics.survival.fleet_data import fleet_data, wear_of_lives, with_equivalent_duty
from analytics.survival.law import Family
from analytics.survival.two_hazard_data import TwoHazardData, take_rows
from analytics.survival.two_hazard_fit import fit_two_hazard
from analytics.survival.two_hazard_modes import Mode, find_modes
from analytics.survival.two_hazard_posterior import shapes

INF = np.inf
STEP = ChangingDuty(
    row=np.array([0, 1]),
    stop=np.array([[2.0, INF], [1.0, INF]]),
    design=np.array([[[0.0], [1.0]], [[0.0], [-1.0]]]),
    at_end=np.zeros((2, 1)),
)
HALVES = np.array([-np.log(2)])


def test_life_is_used_twice_as_fast_after_a_step():
    # By hand, life halved per unit: 2 years at pace 1 and 3 at pace 2; 1 at 1 and 4 at 1/2.
    used = used_life(STEP, [5.0, 5.0], HALVES)

    assert np.exp(used.log_exposure) == pytest.approx([8.0, 3.0])
    assert used.mean[:, 0] == pytest.approx([6 / 8, -2 / 3])
    assert used.last[:, 0].tolist() == [1.0, -1.0]
    assert used_life(STEP, [0.0, 2.0], HALVES).log_exposure[0] == -INF
    assert used_life(STEP, [2.0, 1.0], HALVES).last[:, 0].tolist() == [0.0, 0.0]


def test_equivalent_duty_gives_the_same_exposure_and_the_same_hazard():
    age, shape = np.array([5.0, 5.0]), 2.5
    exposure, hazard = equivalent_duty(STEP, age, HALVES, shape)
    used = used_life(STEP, age, HALVES)

    assert age * np.exp(-exposure @ HALVES) == pytest.approx(np.exp(used.log_exposure))
    # Hazard of exposure psi: beta psi^(beta - 1) psi'; of age t at a constant duty x:
    # beta t^(beta - 1) e^(-beta x'g).
    rising = np.exp((shape - 1) * used.log_exposure - used.last @ HALVES)
    assert age ** (shape - 1) * np.exp(-shape * (hazard @ HALVES)) == pytest.approx(rising)
    still, _ = equivalent_duty(STEP, age, [0.0], shape)
    assert still[:, 0] == pytest.approx([3 / 5, -4 / 5])  # no effect: the plain average


def constant(data: TwoHazardData) -> TwoHazardData:
    """The same lives, each at the one duty it began with."""
    assert data.changing is not None
    same = np.repeat(data.wear_design[data.changing.row][:, None], 2, axis=1)
    return replace(data, changing=replace(data.changing, design=same))


@pytest.mark.parametrize("late_entry", [False, True])
def test_two_stretches_of_one_duty_are_one_stretch(late_entry: bool):
    # Limiting case: told in two stretches or in one, the same posterior.
    data = constant(stepped_fleet(300, 1, late_entry=late_entry))
    (told, *_), (plain, *_) = find_modes(data), find_modes(replace(data, changing=None))

    assert told.log_posterior == pytest.approx(plain.log_posterior, rel=1e-9)
    assert told.vector == pytest.approx(plain.vector, abs=1e-5)
    assert told.covariance == pytest.approx(plain.covariance, rel=1e-4, abs=1e-8)


def plainly(data: TwoHazardData, mode: Mode, vector: np.ndarray) -> float:
    """Log posterior written out life by life, the exposure worked out afresh."""
    problem, lives, duty = mode.problem, data.lifetimes, data.changing
    assert duty is not None
    at = problem.at
    k, beta = shapes(problem, vector)
    g = -vector[at.duty] / problem.wear_scale / beta
    level = vector[at.wear_level] - (problem.wear_centre / problem.wear_scale) @ vector[at.duty]
    a = vector[at.install_level] + data.defects @ vector[at.defects]

    def worn(age: np.ndarray, pace: bool = False) -> np.ndarray:
        steady = np.exp(-data.wear_design @ g)
        value = steady if pace else age * steady
        used = used_life(duty, age[duty.row], g)
        value[duty.row] = np.exp(-used.last @ g if pace else used.log_exposure)
        return value

    def early(age: np.ndarray) -> np.ndarray:
        return np.exp(a) * (age / problem.reference_age) ** k

    def late(age: np.ndarray) -> np.ndarray:
        return np.exp(level) * (worn(age) / problem.reference_age) ** beta

    low, exact = lives.lower, lives.exact
    high = np.where(lives.ended & ~exact, lives.upper, 2 * low + 1)
    age = np.where(exact, low, 1.0)
    rate = k * early(age) / age + beta * late(age) / worn(age) * worn(age, pace=True)
    gap = early(high) + late(high) - early(low) - late(low)
    terms = early(lives.entry) + late(lives.entry) - early(low) - late(low)
    terms += np.where(exact, np.log(rate), 0.0)
    terms += np.where(lives.ended & ~exact, np.log(-np.expm1(-gap)), 0.0)
    away = vector - problem.prior_mean
    return float(lives.weight @ terms - 0.5 * away @ problem.prior_precision @ away)


def test_peak_is_that_of_the_likelihood_written_out():
    # Independent route: exposures, hazards and intervals life by life; its value at the peak,
    # and its slopes there by central differences, which must vanish.
    data = stepped_fleet(400, 2, late_entry=True)
    plain_version = next(
        mode
        for mode in find_modes(data)
        if not (mode.version.hastens_wear or mode.version.first_counts_most)
    )
    peak, step = plain_version.vector, 1e-4
    assert plainly(data, plain_version, peak) == pytest.approx(
        plain_version.log_posterior, rel=1e-8
    )
    spread = np.sqrt(np.diag(plain_version.covariance))
    for place in range(peak.size):
        ahead, behind = peak.copy(), peak.copy()
        ahead[place] += step * spread[place]
        behind[place] -= step * spread[place]
        rise = plainly(data, plain_version, ahead) - plainly(data, plain_version, behind)
        assert abs(rise / (2 * step)) < 1e-2  # in units of its own standard error


def test_exponent_is_recovered_where_one_average_per_life_misses_it():
    # Truth against estimate over eight fleets: 1,500 lives, most stepping up by 30 % mid-life.
    # Average duty is caught by survivorship: who lives long has had more of the hard part.
    held = [0, 0]
    estimates: list[list[float]] = [[], []]
    for seed in range(8):
        fleet = stepped_fleet(1500, seed, late_entry=seed % 2 == 1)
        for way, data in enumerate((fleet, averaged(fleet))):
            found = fit_two_hazard(data).estimates
            effect = found.wear_effects["ln ratio"]
            estimates[way].append(-effect.estimate)
            low, high = sorted((-effect.low, -effect.high))
            held[way] += low < EXPONENT < high
            if way == 0:
                assert abs(found.wear_shape.estimate - SHAPE) < 0.4
    assert held[0] >= 7
    assert held[1] <= 1
    assert np.mean(estimates[0]) == pytest.approx(EXPONENT, abs=0.2)
    assert np.mean(estimates[1]) < EXPONENT - 0.5


def test_folds_carry_the_stretches_of_the_lives_they_keep():
    data = stepped_fleet(60, 5)
    keep = np.array([7, 3, 3, 20, 41])
    taken = take_rows(data, keep)
    assert data.changing is not None
    changed = np.isin(keep, data.changing.row)

    assert taken.changing is not None
    assert taken.changing.row.tolist() == np.flatnonzero(changed).tolist()
    place = np.searchsorted(data.changing.row, keep[changed])
    assert taken.changing.stop.tolist() == data.changing.stop[place].tolist()
    steady = np.setdiff1d(np.arange(len(data.lifetimes)), data.changing.row)
    assert take_rows(data, steady).changing is None


def test_regression_takes_the_stretches_too():
    # The wear alone, by cumulative exposure: what stands in when two hazards cannot be told.
    data = stepped_fleet(1500, 11, early_rate=1e-6)
    assert data.changing is not None
    duty = as_stretches(data.changing, data.wear_design, data.lifetimes)
    result = fit_exposure(data.lifetimes, Family.WEIBULL, duty, data.wear_names)
    error = result.coefficients[1] + EXPONENT

    assert abs(error) < 3 * np.sqrt(result.covariance[1, 1])
    assert 1 / result.sigma == pytest.approx(SHAPE, abs=0.2)


def lives_frame() -> tuple[pd.DataFrame, pd.DataFrame]:
    """Three lives, of which the second ran harder from its third year on; and its steps."""
    lives = pd.DataFrame(
        {
            "life_id": ["A", "B", "C"],
            "ending": ["premature", "premature", "in_service"],
            "age_known": True,
            "operating_ratio": [0.6, 0.7, 0.8],
            "cycles_per_year": [10.0, 20.0, 40.0],
            "service": "steam",
            "family": "composite",
            "lot": "L1",
            "crew": "a",
            "installed_on": pd.to_datetime(["2020-01-01"] * 3),
            "age_years": [3.0, 5.0, 4.0],
            "lower_years": [3.0, 5.0, 4.0],
            "upper_years": [3.0, 5.0, INF],
            "entry_years": 0.0,
        }
    )
    steps = pd.DataFrame(
        {
            "install_id": ["B", "B", "gone", "gone"],
            "from_years": [0.0, 2.0, 0.0, 1.0],
            "to_years": [2.0, 5.0, 1.0, 2.0],
            "operating_ratio": [0.65, 0.75, 0.5, 0.6],
            "cycles_per_year": [20.0, 20.0, 10.0, 10.0],
        }
    )
    return lives, steps


def test_steps_join_the_lives_they_belong_to():
    from analytics.installs.checklist import DEFECTS

    lives, steps = lives_frame()
    lives = lives.assign(**{name: pd.array([pd.NA] * 3, dtype="boolean") for name in DEFECTS})
    weight = lives["ending"].eq("premature").astype(float)
    fleet = fleet_data(lives, weight, duty_steps=steps)
    changing = fleet.data.changing

    assert changing is not None
    assert lives["life_id"].iloc[fleet.life[changing.row]].tolist() == ["B"]
    assert changing.stop.tolist() == [[2.0, INF]]
    assert np.exp(changing.design[0, :, 0] + fleet.design.log_ratio) == pytest.approx([0.65, 0.75])
    # Until effects are known the plain average over time stands in: 2 years and 3 years.
    mean = (2 * np.log(0.65) + 3 * np.log(0.75)) / 5 - fleet.design.log_ratio
    assert fleet.data.wear_design[changing.row, 0] == pytest.approx([mean])
    known = with_equivalent_duty(fleet, np.array([-6.0, -0.5]), 3.0)
    row = wear_of_lives(known, lives)[1]
    used = (2 * 0.65**6 + 3 * 0.75**6) / 5  # the power mean, and the cycles that never changed
    assert np.exp(6 * (row[0] + fleet.design.log_ratio) + 0.5 * row[1]) == pytest.approx(used)
    assert fleet_data(lives, weight, duty_steps=steps.iloc[2:]).data.changing is None
