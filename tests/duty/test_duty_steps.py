"""Which lives changed their duty: steps that are material and clear of chance, no others."""

import numpy as np
import pandas as pd
import pytest

from analytics.duty.steps import duty_steps

QUARTER = 0.25


def quarters(
    life: str,
    ratios: np.ndarray,
    cycles: np.ndarray | float = 40.0,
    seen: np.ndarray | float = 1.0,
) -> pd.DataFrame:
    n = len(ratios)
    seen = np.broadcast_to(np.asarray(seen, dtype=float), n)
    return pd.DataFrame(
        {
            "install_id": life,
            "from_years": np.arange(n) * QUARTER,
            "to_years": (np.arange(n) + 1) * QUARTER,
            "operating_ratio": ratios,
            "pressure_basis": np.where(seen >= 0.5, "history", "nominal"),
            "cycles_per_year": np.where(seen >= 0.5, cycles, np.nan),
            "coverage": seen,
        }
    )


def noisy(level: np.ndarray | float, n: int, seed: int) -> np.ndarray:
    return np.asarray(level) * np.exp(np.random.default_rng(seed).normal(0, 0.01, n))


def test_step_is_found_at_its_quarter_with_the_duty_on_either_side():
    level = np.where(np.arange(16) < 6, 0.60, 0.72)
    steady = quarters("S", noisy(0.65, 16, 1))
    steps = duty_steps(pd.concat([steady, quarters("A", noisy(level, 16, 2))]))

    assert steps["install_id"].tolist() == ["A", "A"]
    assert steps["from_years"].tolist() == [0.0, 6 * QUARTER]
    assert steps["to_years"].tolist() == [6 * QUARTER, 4.0]
    assert steps["operating_ratio"].tolist() == pytest.approx([0.60, 0.72], rel=0.015)


def test_two_steps_are_followed():
    level = np.select([np.arange(24) < 8, np.arange(24) < 16], [0.60, 0.75], 0.66)
    steps = duty_steps(quarters("A", noisy(level, 24, 3)))

    assert steps["to_years"].tolist() == [2.0, 4.0, 6.0]
    assert steps["operating_ratio"].tolist() == pytest.approx([0.60, 0.75, 0.66], rel=0.015)


def test_cycles_step_alone_counts_when_enough_were_counted():
    early = np.arange(16) < 8
    many = quarters("M", noisy(0.6, 16, 4), np.where(early, 40.0, 120.0))
    few = quarters("F", noisy(0.6, 16, 5), np.where(early, 0.5, 1.5))
    steps = duty_steps(pd.concat([many, few]))

    assert steps["install_id"].unique().tolist() == ["M"]
    assert steps["cycles_per_year"].tolist() == pytest.approx([40.0, 120.0])


def test_small_step_is_one_duty_and_so_is_one_odd_quarter():
    small = quarters("A", np.where(np.arange(16) < 8, 0.600, 0.620))
    odd = quarters("B", np.where(np.arange(16) == 9, 0.75, 0.60))

    assert duty_steps(pd.concat([small, odd])).empty


def test_quarters_not_seen_join_the_stretch_before_them():
    level = np.where(np.arange(16) < 8, 0.60, 0.75)
    seen = np.where(np.isin(np.arange(16), [6, 7, 12]), 0.1, 1.0)
    steps = duty_steps(quarters("A", level, seen=seen))

    assert steps["to_years"].tolist() == [2.0, 4.0]
    assert steps["operating_ratio"].tolist() == pytest.approx([0.60, 0.75])


def test_life_seen_for_less_than_half_is_left_at_its_nominal_duty():
    level = np.where(np.arange(16) < 12, 0.60, 0.75)
    seen = np.where(np.arange(16) < 9, 0.0, 1.0)

    assert duty_steps(quarters("A", level, seen=seen)).empty


def test_steady_fleets_seldom_show_a_step():
    # 2,000 lives of 16 quarters without a step, the scatter as wide as the material step.
    random = np.random.default_rng(6)
    ratio = 0.6 * np.exp(random.normal(0, 0.05, 16 * 2000))
    cycles = random.poisson(5.0, ratio.size) / QUARTER
    frame = quarters("x", ratio, cycles).assign(
        install_id=np.repeat(np.arange(2000), 16).astype(str)
    )
    frame["from_years"] = np.tile(np.arange(16) * QUARTER, 2000)
    frame["to_years"] = frame["from_years"] + QUARTER

    assert duty_steps(frame)["install_id"].nunique() <= 20
