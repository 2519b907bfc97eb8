import numpy as np
import pytest

from analytics.installs.torque import (
    lubrication_error,
    nut_factor,
    step_torques,
    tightening_torque,
    torque_ratio,
)


@pytest.mark.parametrize(
    ("factor", "torque"),
    # T = K D F, common practice, worked by hand for an M16 stud, 157 mm2 at 345 MPa:
    # F = 54 165 N, two decimals.
    [(0.20, 173.33), (0.15, 130.00), (0.12, 104.00)],
)
def test_torque_of_a_metric_stud(factor, torque):
    assert tightening_torque(factor, 0.016, 157e-6 * 345e6) == pytest.approx(torque, abs=0.005)


@pytest.mark.parametrize(
    ("factor", "torque"),
    # The same for 3/4-10, 0.334 in2 at 50 ksi: F = 16 700 lbf, in lbf ft, two decimals.
    [(0.20, 208.75), (0.15, 156.56)],
)
def test_torque_of_an_inch_stud(factor, torque):
    assert tightening_torque(factor, 0.75 / 12, 0.334 * 50e3) == pytest.approx(torque, abs=0.005)


def test_nut_factor_of_m16():
    # (0.63662 + 2.03702 + 2.49) / 32 = 0.1614 by hand; four printed digits. The form of the
    # equation is from memory, unverified.
    factor = nut_factor(
        diameter=16,
        pitch=2,
        pitch_diameter=14.701,
        bearing_diameter=20.75,
        thread_friction=0.12,
        bearing_friction=0.12,
    )
    assert factor == pytest.approx(0.1614, abs=5e-5)


def test_wrong_lubrication_is_a_third_too_much_or_a_quarter_too_little():
    # 0.20 / 0.15 and 0.15 / 0.20; common practice, no source for the factors.
    assert lubrication_error(0.20, 0.15) == pytest.approx(4 / 3)
    assert lubrication_error(0.15, 0.20) == pytest.approx(0.75)


def test_steps_end_at_the_target():
    assert step_torques(100.0, (30, 70, 100)) == [30.0, 70.0, 100.0]


@pytest.mark.parametrize("steps", [(), (50, 25, 100), (25, 50), (0, 100), (100, 100)])
def test_steps_that_do_not_rise_to_the_target_are_refused(steps):
    with pytest.raises(ValueError, match="steps must rise"):
        step_torques(100.0, steps)


def test_ratio_is_unknown_without_torque_or_target():
    ratio = torque_ratio(np.array([90.0, np.nan, 90.0]), np.array([100.0, 100.0, 0.0]))

    assert ratio[0] == pytest.approx(0.9)
    assert np.isnan(ratio[1:]).all()


@pytest.mark.parametrize("bad", [(0, 0.016, 1), (0.2, -1, 1), (0.2, 0.016, float("nan"))])
def test_torque_refuses_nonsense(bad):
    with pytest.raises(ValueError, match="must be > 0"):
        tightening_torque(*bad)
