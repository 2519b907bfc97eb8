import numpy as np
import pytest

from analytics.spares.baselines import Baseline, baseline_rate


def test_croston_worked_by_hand():
    # Demands 3, 1, 4 in periods 2, 5, 6, smoothing 0.2: sizes 3, 2.6, 2.88; intervals 2, 2.2,
    # 1.96; (1 - 0.1) x 2.88 / 1.96.
    found = baseline_rate([0, 3, 0, 0, 1, 4, 0], Baseline.CROSTON_SBA, smoothing=0.2)

    assert found == pytest.approx(0.9 * 2.88 / 1.96, abs=1e-12)


def test_tsb_worked_by_hand():
    # Chance starts at 1 / 2 (first demand in period 2), smoothing 0.5: .25, .625, .3125; size 3.
    found = baseline_rate([0, 3, 0], Baseline.TSB, smoothing=0.5)

    assert found == pytest.approx(3 * 0.3125, abs=1e-12)


@pytest.mark.parametrize("method", list(Baseline))
def test_steady_demand_is_found(method):
    demand = np.random.default_rng(5).poisson(0.4, 20_000)

    found = np.mean([baseline_rate(part, method) for part in demand.reshape(50, 400)])

    assert found == pytest.approx(0.4, rel=0.06)


def test_a_code_nobody_asks_for_fades_only_with_tsb():
    demand = [1, 0, 1, 0, 1] + [0] * 60

    assert baseline_rate(demand, Baseline.TSB) < 0.01
    assert baseline_rate(demand, Baseline.CROSTON_SBA) > 0.3


@pytest.mark.parametrize("method", list(Baseline))
def test_no_demand_gives_no_rate(method):
    assert baseline_rate([0, 0, 0], method) == 0.0


def test_refuses_what_makes_no_sense():
    with pytest.raises(ValueError, match="at least one period"):
        baseline_rate([], Baseline.TSB)
    with pytest.raises(ValueError, match=r"smoothing must lie in \(0, 1\)"):
        baseline_rate([1.0], Baseline.TSB, smoothing=1.0)
