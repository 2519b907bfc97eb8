"""Power-law process and tests for trend."""

import json

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.stats import kstwo

from analytics.errors import DiscwardError, InputError, NotEstimable
from analytics.survival.histories import histories
from analytics.survival.power_law import fit_power_law, mtbf_limits, shape_limits
from analytics.survival.trend import trend_findings
from analytics.survival.trend_tests import cramer_von_mises_p_value, trend_tests
from datasets.reference import path

NIST_TIMES = pd.read_csv(path("nist_repair"))["t"].to_numpy(dtype=float)


def simulate(rng, shape, rate_constant, end):
    """Times of a power-law process: a steady one on the scale of expected events."""
    count = rng.poisson(rate_constant * end**shape)
    return end * rng.random(count) ** (1 / shape)


def test_nist_time_terminated():
    # NIST/SEMATECH e-Handbook 8.2.2.3, 8.2.3.4 and 8.4.5: times to 1,478 h, watched to
    # 1,500 h. NIST prints bHat 0.483506, aHat 0.2913003, MTBF 310.234 with 80 % limits
    # 157.7138 and 548.5566; further digits from R 4.2.2.
    data = histories(NIST_TIMES, end=1500)
    fit = fit_power_law(data)

    assert fit.shape == pytest.approx(0.537228866, abs=1e-8)
    assert fit.rate_constant == pytest.approx(0.196658216, abs=1e-8)
    assert fit.log_sum == pytest.approx(18.61404074, abs=1e-8)
    assert fit.log_likelihood == pytest.approx(-57.70562301, abs=1e-8)
    assert 1 / fit.mtbf == pytest.approx(0.00358152577, abs=1e-10)
    assert fit.mtbf == pytest.approx(279.210611, abs=1e-6)
    assert fit.shape_unbiased == pytest.approx(0.483505979, abs=1e-8)
    assert fit.rate_constant_unbiased == pytest.approx(0.291300269, abs=1e-8)
    limits = mtbf_limits(fit, confidence=0.80)
    assert limits.estimate == pytest.approx(310.234012, abs=1e-6)
    assert (limits.low, limits.high) == pytest.approx((157.713834, 548.556598), abs=1e-6)


@pytest.mark.parametrize(
    ("confidence", "low", "high"),
    # Chi-square with 20 degrees over 2 S, computed with R 4.2.2, 8 digits.
    [
        (0.80, 0.33422644, 0.76318681),
        (0.90, 0.29146846, 0.84372956),
        (0.95, 0.25762212, 0.91784496),
    ],
)
def test_nist_shape_limits(confidence, low, high):
    limits = shape_limits(fit_power_law(histories(NIST_TIMES, end=1500)), confidence=confidence)

    assert (limits.low, limits.high) == pytest.approx((low, high), abs=1e-8)


def test_nist_trend_tests():
    # R 4.2.2 on the NIST data; z as NIST 8.2.3.4 defines it. R = 33 counts the tie 35, 35
    # as no reversal and was not confirmed against NIST's page.
    tests = trend_tests(histories(NIST_TIMES, end=1500))

    assert tests.laplace == pytest.approx(-1.32694918, abs=1e-8)
    assert tests.laplace_p_value == pytest.approx(0.184525, abs=5e-7)
    assert tests.chi_square == pytest.approx(37.22808148, abs=1e-8)
    assert tests.chi_square_degrees_of_freedom == 20
    assert tests.chi_square_p_value == pytest.approx(2 * (1 - 0.98901364), abs=2e-8)
    assert tests.cramer_von_mises == pytest.approx(0.05376869, abs=1e-8)
    assert tests.reverse_arrangements == 33
    assert tests.reverse_arrangement_z == pytest.approx(1.96773982, abs=1e-8)


def test_failure_terminated():
    # Formulas of MIL-HDBK-189C and IEC 61164 (from memory) on the NIST times, R 4.2.2.
    data = histories(NIST_TIMES)
    fit, tests = fit_power_law(data), trend_tests(data)

    assert fit.closed_by_event
    assert fit.shape == pytest.approx(0.541527353, abs=1e-8)
    assert fit.rate_constant == pytest.approx(0.192103197, abs=1e-8)
    assert fit.shape_unbiased == pytest.approx(0.433221882, abs=1e-8)
    assert 1 / fit.mtbf == pytest.approx(0.00366391984, abs=1e-10)
    assert fit.mtbf == pytest.approx(272.931735, abs=1e-6)
    assert fit.mtbf_unbiased == pytest.approx(341.164669, abs=1e-6)
    assert fit.log_likelihood == pytest.approx(-57.62592920, abs=1e-8)
    assert tests.laplace == pytest.approx(-1.91095908, abs=1e-8)
    assert tests.chi_square == pytest.approx(36.93257577, abs=1e-8)
    assert tests.chi_square_degrees_of_freedom == 18
    assert tests.cramer_von_mises == pytest.approx(0.03860056, abs=1e-8)
    limits = shape_limits(fit, confidence=0.90)
    assert (limits.low, limits.high) == pytest.approx((0.25425941, 0.78167577), abs=1e-8)


def test_end_on_the_last_event_is_failure_terminated():
    assert fit_power_law(histories(NIST_TIMES, end=1478)) == fit_power_law(histories(NIST_TIMES))


def test_failure_terminated_mtbf_limits_cover():
    # Independent route: simulated processes; the limits are exact, so 90 % of 2,000 cover
    # within three standard errors (0.02).
    rng = np.random.default_rng(7)
    n, shape, covered = 6, 1.4, 0
    for _ in range(2000):
        times = np.cumsum(rng.exponential(1.0, n)) ** (1 / shape)
        limits = mtbf_limits(fit_power_law(histories(times)), confidence=0.90)
        truth = 1 / (shape * times[-1] ** (shape - 1))
        covered += limits.low <= truth <= limits.high
    assert covered / 2000 == pytest.approx(0.90, abs=0.02)


def test_shape_limits_cover_over_unequal_ends():
    # Independent route: three systems watched unequally long; 95 % limits, 1,000 fleets.
    rng = np.random.default_rng(8)
    ends, shape, covered = np.array([3.0, 8.0, 20.0]), 0.7, 0
    for _ in range(1000):
        parts = [simulate(rng, shape, 1.5, end) for end in ends]
        data = histories(np.concatenate(parts), end=ends, n_systems=3,
                         system=np.repeat([0, 1, 2], [len(p) for p in parts]))  # fmt: skip
        limits = shape_limits(fit_power_law(data))
        covered += limits.low <= shape <= limits.high
    assert covered / 1000 == pytest.approx(0.95, abs=0.02)


def test_unequal_ends_reach_the_maximum():
    # Independent route: no nearby point has a larger likelihood.
    rng = np.random.default_rng(9)
    ends = np.array([4.0, 9.0])
    parts = [simulate(rng, 1.6, 0.8, end) for end in ends]
    times = np.concatenate(parts)
    fit = fit_power_law(
        histories(times, end=ends, system=np.repeat([0, 1], [len(p) for p in parts]))
    )

    def log_likelihood(shape, rate):
        return (
            len(times) * np.log(rate * shape)
            + (shape - 1) * np.log(times).sum()
            - rate * (ends**shape).sum()
        )

    best = log_likelihood(fit.shape, fit.rate_constant)
    assert fit.log_likelihood == pytest.approx(best, rel=1e-12)
    for d_shape in (-1e-3, 1e-3):
        for d_rate in (-1e-3, 0, 1e-3):
            moved = log_likelihood(fit.shape + d_shape, fit.rate_constant + d_rate)
            assert moved < best


def test_equal_ends_are_a_special_case_of_unequal_ends():
    data = histories([1.0, 4, 5, 9], end=[10.0, 10.0], system=[0, 1, 1, 0])
    nearly = histories([1.0, 4, 5, 9], end=[10.0, 10.0 + 1e-9], system=[0, 1, 1, 0])

    assert fit_power_law(nearly).shape == pytest.approx(fit_power_law(data).shape, rel=1e-8)


@pytest.mark.parametrize("unit", [1e-9, 1e-3, 1e6, 1e12])
def test_shape_and_tests_do_not_depend_on_the_unit_of_time(unit):
    base, scaled = (trend_findings(pd.DataFrame({"time": NIST_TIMES * u}), 1500 * u)
                    for u in (1.0, unit))  # fmt: skip

    for name in ("shape", "laplace", "chi_square", "cramer_von_mises", "reverse_arrangement_z"):
        assert scaled[name] == pytest.approx(base[name], rel=1e-9)
    assert scaled["mtbf_at_end"] == pytest.approx(base["mtbf_at_end"] * unit, rel=1e-9)


@pytest.mark.parametrize(
    ("statistic", "events", "level"),
    # MIL-HDBK-189, critical values by number of events (from memory, unverified); a simulated
    # p-value is good to 0.005, and five events in place of three would give 0.066 for 0.05.
    [
        (0.154, 3, 0.10), (0.184, 3, 0.05), (0.167, 10, 0.10), (0.212, 10, 0.05),
        (0.173, 100, 0.10), (0.221, 100, 0.05),
    ],
)  # fmt: skip
def test_cramer_von_mises_critical_values(statistic, events, level):
    assert cramer_von_mises_p_value(statistic, events) == pytest.approx(level, abs=0.007)


def test_p_values_are_uniform_without_trend():
    # Independent route: 400 steady processes of 30 events; Kolmogorov-Smirnov at 0.1 %.
    rng = np.random.default_rng(10)
    found = [trend_tests(histories(rng.random(30), end=1.0)) for _ in range(400)]

    for name in ("laplace_p_value", "chi_square_p_value", "cramer_von_mises_p_value"):
        values = np.sort([getattr(tests, name) for tests in found])
        distance = np.abs(values - (np.arange(400) + 0.5) / 400).max()
        assert distance < kstwo.isf(0.001, 400), name


def test_reverse_arrangements_by_enumeration():
    # Independent route: three gaps can be ordered in six ways; all three pairs rise in one.
    tests = trend_tests(histories([1.0, 3.0, 6.0], end=7.0))

    assert tests.reverse_arrangements == 3
    assert tests.reverse_arrangement_p_value == pytest.approx(2 / 6)


@pytest.mark.parametrize("count", [2, 60, 400])
def test_reverse_arrangements_by_counting_pairs(count):
    # Independent route: a double loop over the gaps, many of them equal; both ways of counting.
    gap = np.random.default_rng(12).integers(1, 6, count)
    tests = trend_tests(histories(np.cumsum(gap).astype(float), end=5000.0))

    pairs = sum(gap[i] < gap[j] for i in range(count) for j in range(i + 1, count))
    assert tests.reverse_arrangements == pairs


def test_valve_seats_of_forty_one_engines():
    # Independent route on data valveSeat (Nelson & Doganaksoy; Meeker & Escobar 1998): the
    # log-likelihood found by a general optimiser over both parameters.
    table = pd.read_csv(path("survival_valveSeat"))
    ends = table[table["status"] == 0].set_index("id")["time"]
    events = table[table["status"] == 1].rename(columns={"id": "system"})
    idle = pd.DataFrame({"system": sorted(set(ends.index) - set(events["system"])), "time": np.nan})
    events = pd.concat([events[["system", "time"]], idle])
    found = trend_findings(events.assign(end=events["system"].map(ends)))

    def lack(parameters):
        shape, rate = np.exp(parameters)
        time = events["time"].dropna()
        expected = rate * (ends / 500) ** shape
        density = np.log(rate * shape / 500) + (shape - 1) * np.log(time / 500)
        return expected.sum() - density.sum()

    best = minimize(lack, [0.0, 0.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    assert (found["systems"], found["events"]) == (41, 48)
    assert found["shape"] == pytest.approx(np.exp(best.x[0]), rel=1e-6)
    assert found["log_likelihood"] == pytest.approx(-best.fun, abs=1e-8)
    assert "come faster" in found["statement"]


def test_a_hundred_thousand_events_are_no_burden():
    rng = np.random.default_rng(13)
    found = trend_findings(pd.DataFrame({"time": 100 * rng.random(100_000) ** (1 / 1.3)}), 100.0)

    assert found["shape"] == pytest.approx(1.3, abs=4 * 1.3 / np.sqrt(100_000))


def test_findings_are_plain_numbers_and_valid_json():
    found = trend_findings(pd.DataFrame({"time": NIST_TIMES}), 1500.0)

    for name in (
        "shape", "rate_constant", "laplace", "laplace_p_value", "chi_square",
        "chi_square_degrees_of_freedom", "shape_low_80", "shape_high_95", "mtbf_at_end_low_90",
    ):  # fmt: skip
        assert isinstance(found[name], float)
    json.dumps(found, allow_nan=False)
    assert "come slower" in found["statement"]
    assert found["warnings"] == []


def test_findings_tell_faster_from_slower_and_from_neither():
    rng = np.random.default_rng(11)
    for shape, words in ((2.0, "come faster"), (0.4, "come slower")):
        times = simulate(rng, shape, 60 / 100**shape, 100.0)
        assert words in trend_findings(pd.DataFrame({"time": times}), 100.0)["statement"]
    steady = pd.DataFrame({"time": np.linspace(1, 99, 40)})
    assert "No trend is shown" in trend_findings(steady, 100.0)["statement"]


def test_system_without_events_counts_in_the_rate():
    # Limiting case: twice the systems, half the rate, the same shape.
    busy = pd.DataFrame({"time": [2.0, 5, 9], "system": ["a"] * 3})
    idle = pd.concat([busy, pd.DataFrame({"time": [np.nan], "system": ["b"]})])
    one, two = trend_findings(busy, 10.0), trend_findings(idle, 10.0)

    assert two["systems"] == 2
    assert two["shape"] == one["shape"]
    assert two["rate_constant"] == pytest.approx(one["rate_constant"] / 2)
    assert two["mtbf_at_end_low_90"] == pytest.approx(2 * one["mtbf_at_end_low_90"])


def test_few_events_are_answered_with_caution():
    found = trend_findings(pd.DataFrame({"time": [2.0]}), 10.0)

    assert found["shape"] == pytest.approx(1 / np.log(5))
    assert found["shape_unbiased"] is None
    assert found["mtbf_at_end_low_90"] is None
    assert any("only 1 events" in text for text in found["warnings"])
    assert any("two events" in text for text in found["warnings"])


@pytest.mark.parametrize(
    ("table", "end", "message"),
    [
        ({"age": [1.0]}, 5.0, "need a column `time`"),
        ({"time": []}, 5.0, "at least one row"),
        ({"time": [0.0]}, 5.0, "finite and > 0"),
        ({"time": [-1.0]}, 5.0, "finite and > 0"),
        ({"time": [np.inf]}, 5.0, "finite and > 0"),
        ({"time": [np.nan]}, 5.0, "finite and > 0"),
        ({"time": ["soon"]}, 5.0, "must hold numbers, got 'soon'"),
        ({"time": [6.0]}, 5.0, "beyond the end"),
        ({"time": [1.0]}, -5.0, "end must be finite and > 0"),
        ({"time": [1.0]}, np.nan, "end must be finite and > 0"),
        ({"time": [1.0], "system": [None]}, 5.0, "system must not be blank"),
        ({"time": [1.0, 2.0], "system": ["a", "a"], "end": [4.0, 5.0]}, None, "end must be the"),
        ({"time": [1.0, None], "system": ["a", "b"]}, None, "without events needs an end"),
    ],
)
def test_unusable_events_are_refused(table, end, message):
    with pytest.raises(InputError, match=message):
        trend_findings(pd.DataFrame(table), end)


def test_no_event_before_the_end_is_not_estimable():
    with pytest.raises(NotEstimable, match="at least one event before the end"):
        trend_findings(pd.DataFrame({"time": [5.0]}), None)


def test_limits_refuse_a_level_that_is_none():
    fit = fit_power_law(histories(NIST_TIMES, end=1500))
    with pytest.raises(InputError, match="confidence must lie in"):
        shape_limits(fit, confidence=1.0)


@settings(max_examples=150, deadline=None)
@given(
    times=st.lists(st.floats(allow_nan=True, width=64) | st.integers(0, 5), max_size=8),
    systems=st.lists(st.integers(0, 2), min_size=8, max_size=8),
    end=st.none() | st.floats() | st.integers(1, 9),
    several=st.booleans(),
)
def test_any_input_gets_an_answer_or_one_clear_line(times, systems, end, several):
    table = pd.DataFrame({"time": pd.Series(times, dtype=float)})
    if several:
        table["system"] = systems[: len(table)]
    try:
        found = trend_findings(table, end)
    except DiscwardError as refusal:
        found, line = None, str(refusal)
    if found is None:
        assert line
        assert "\n" not in line
    else:
        json.dumps(found, allow_nan=False)
        assert found["shape_low_95"] <= found["shape_high_95"]
