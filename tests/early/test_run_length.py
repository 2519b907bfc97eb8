"""Run lengths against closed forms, limits and a plain simulation."""

from math import exp, factorial, log

import numpy as np
import pytest
from scipy.integrate import quad

from analytics.early.run_length import (
    average_run_length,
    cluster_part,
    cluster_score,
    delay,
    failure_score,
    threshold_for,
)
from analytics.errors import InputError


def scale(x, drift, jump):
    """Scale function of drift u less jumps at rate one, by Erlang's finite series."""
    terms = range(int(x / jump + 1e-12) + 1)
    y = [(x - k * jump) / drift for k in terms]
    return sum((-y[k]) ** k / factorial(k) * exp(y[k]) for k in terms) / drift


def scale_slope(x, drift, jump):
    past = scale(x - jump, drift, jump) if x >= jump else 0.0
    return (scale(x, drift, jump) - past) / drift


def fall_run_length(drift, jump, threshold):
    """Reflected at its infimum, up by drift: the integral of the scale function."""
    edges = np.append(np.arange(0, threshold, jump), threshold)
    spans = zip(edges[:-1], edges[1:], strict=True)
    return sum(quad(scale, a, b, args=(drift, jump))[0] for a, b in spans)


def rise_run_length(drift, jump, threshold):
    """Reflected at its supremum, out by a jump: W^2 / W' less the integral of W."""
    w = scale(threshold, drift, jump)
    return w**2 / scale_slope(threshold, drift, jump) - fall_run_length(drift, jump, threshold)


@pytest.mark.parametrize("ratio", [1.5, 2.0, 4.0])
@pytest.mark.parametrize("threshold", [0.3, 1.0, 2.5, 5.0])
def test_rise_against_the_closed_form_of_the_scale_function(ratio, threshold):
    # Exit of a spectrally negative process reflected at its supremum, F. Avram, A. Kyprianou
    # and M. Pistorius, Ann. Appl. Probab. 14 (2004) 215-238; from memory, unverified. The
    # simulation below is a third route.
    exact = rise_run_length(ratio - 1, log(ratio), threshold)

    assert average_run_length(failure_score(ratio), threshold) == pytest.approx(exact, rel=1e-2)


@pytest.mark.parametrize("ratio", [0.25, 0.5, 0.75])
@pytest.mark.parametrize("threshold", [0.2, 1.0, 2.0, 4.0])
def test_fall_against_the_closed_form_of_the_scale_function(ratio, threshold):
    exact = fall_run_length(1 - ratio, -log(ratio), threshold)

    assert average_run_length(failure_score(ratio), threshold) == pytest.approx(exact, rel=1e-2)


@pytest.mark.parametrize("b", [0.5, 1.0, 1.2])
def test_fall_against_the_published_form_for_exponential_gaps(b):
    # Gaps of mean 1, S = max(0, S + gap - a), alarm when S > b, b < a:
    # ARL = e^b (1 + e^a - b) - 1. Vardeman and Ray 1985 and, in this form, Mititelu, Areepong,
    # Sukparungseet and Novikov 2010; the form from memory, unverified. It counts gaps and looks
    # after taking off a, so our threshold is b + a and our length in time one gap shorter.
    ratio = 0.25
    drift, jump = 1 - ratio, -log(ratio)
    a = jump / drift

    found = average_run_length(failure_score(ratio), drift * (a + b))

    assert found + 1 == pytest.approx(exp(b) * (1 + exp(a) - b) - 1, rel=1e-2)


@pytest.mark.parametrize("ratio", [1.02, 0.98])
def test_many_small_steps_are_brownian(ratio):
    # A likelihood ratio in small steps is Brownian motion of drift -s^2/2 and variance s^2 with
    # s = log ratio; reflected at 0 it takes 2 (e^h - h - 1) / s^2 to h (Reynolds 1975, from
    # memory, unverified).
    brownian = 2 * (exp(2.0) - 2.0 - 1) / log(ratio) ** 2

    assert average_run_length(failure_score(ratio), 2.0) == pytest.approx(brownian, rel=0.05)


def simulated(score, threshold, n, rng, *, rate=None):
    """Play the chart event by event."""
    rate = score.rate if rate is None else rate
    s, time = np.zeros(n), np.zeros(n)
    running = np.arange(n)
    while running.size:
        gap = rng.exponential(1 / rate.sum(), running.size)
        if score.drift > 0:
            reach = (threshold - s[running]) / score.drift
            time[running] += np.minimum(gap, reach)
            out = gap >= reach
        else:
            time[running] += gap
            out = np.zeros(running.size, dtype=bool)
        s[running] = np.maximum(s[running] + score.drift * gap, 0)
        jump = rng.choice(score.jumps, running.size, p=rate / rate.sum())
        s[running] = np.maximum(s[running] + jump, 0)
        running = running[~out & ((s[running] < threshold) | (score.drift > 0))]
    return time


@pytest.mark.parametrize("ratio", [2.0, 0.5])
@pytest.mark.parametrize("changed", [False, True])
def test_shares_against_simulation(ratio, changed):
    rng = np.random.default_rng(11)
    score = failure_score(ratio, rng.beta(2.0, 1.0, 400))
    rate = score.changed_rate if changed else score.rate

    times = simulated(score, 2.5, 6000, rng, rate=rate)

    found = average_run_length(score, 2.5, changed=changed)
    assert found == pytest.approx(times.mean(), abs=4 * times.std() / np.sqrt(times.size))


def test_clusters_against_simulation_and_they_tell_less():
    rng = np.random.default_rng(12)
    score = cluster_score(2.0, [1, 1, 1, 2, 3])

    times = simulated(score, 2.5, 6000, rng)

    found = average_run_length(score, 2.5)
    assert found == pytest.approx(times.mean(), abs=4 * times.std() / np.sqrt(times.size))
    whole = cluster_score(2.0, [1.0])
    assert cluster_part([1, 1, 1, 2, 3]) == pytest.approx(8 / 16)
    assert score.drift == pytest.approx(whole.drift / 2)


def test_a_cluster_of_one_is_a_failure_that_speaks_in_full():
    one, whole = cluster_score(2.0, [1.0]), failure_score(2.0)

    assert average_run_length(one, 3.0) == pytest.approx(average_run_length(whole, 3.0))


@pytest.mark.parametrize("run_length", [50.0, 1000.0, 20_000.0])
@pytest.mark.parametrize("ratio", [2.0, 0.5])
def test_threshold_gives_the_run_length_it_was_asked_for(run_length, ratio):
    score = failure_score(ratio, np.linspace(0.05, 1, 500))

    found = average_run_length(score, threshold_for(score, run_length))

    assert found == pytest.approx(run_length, rel=1e-2)


def test_delay_of_a_change_at_once_is_the_run_length_after_it():
    score = failure_score(2.0)

    months, failures = delay(score, 5.0, [0.5, 2.0], [1.0])

    after = average_run_length(score, 5.0, changed=True)
    assert failures == pytest.approx([after, after], rel=0.02)
    assert months == pytest.approx([after / 0.5, after / 2.0], rel=0.02)


def test_delay_when_the_change_comes_in_slowly_against_simulation():
    rng = np.random.default_rng(13)
    score, pace = failure_score(2.0), 0.5
    reached = np.minimum(np.arange(60) / 30, 1.0)
    s, time = np.zeros(3000), np.zeros(3000)
    running, now = np.arange(3000), 0.0
    while running.size:  # in steps of a fiftieth of an expected failure
        now += 0.02
        part = reached[min(int(now / pace), 59)]
        failed = rng.random(running.size) < 0.02 * (1 + part)
        s[running] = np.maximum(s[running] - 0.02, 0) + np.log(2) * failed
        time[running] = now
        running = running[s[running] < 5.0]

    months, failures = delay(score, 5.0, [pace], reached)

    assert failures[0] == pytest.approx(time.mean(), rel=0.05)
    assert months[0] == pytest.approx(time.mean() / pace, rel=0.05)
    assert months[0] > 1.2 * delay(score, 5.0, [pace], [1.0])[0][0]


def test_no_change_at_all_is_seen_as_seldom_as_a_false_alarm():
    score = failure_score(2.0)

    _, failures = delay(score, 3.0, [1.0], np.zeros(12))

    assert failures[0] == pytest.approx(average_run_length(score, 3.0), rel=0.03)


@pytest.mark.parametrize("ratio", [1.0, 0.0, -2.0, float("nan")])
def test_a_ratio_that_is_none_is_refused(ratio):
    with pytest.raises(InputError, match="ratio watched for must be positive and not 1"):
        failure_score(ratio)


@pytest.mark.parametrize("shares", [[], [0.0], [1.2], [float("nan")]])
def test_shares_that_are_none_are_refused(shares):
    with pytest.raises(InputError, match=r"shares in \(0, 1\]"):
        failure_score(2.0, shares)


def test_other_nonsense_is_refused():
    with pytest.raises(InputError, match="sizes of at least 1"):
        cluster_score(2.0, [0.5])
    with pytest.raises(InputError, match="threshold must lie in"):
        average_run_length(failure_score(2.0), 0.0)
    with pytest.raises(InputError, match="run_length must be at least 10"):
        threshold_for(failure_score(2.0), 1.0)
