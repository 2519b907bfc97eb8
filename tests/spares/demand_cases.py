"""Small fleets, each built to try one part of the computed demand."""

import numpy as np

from analytics.spares.demand import PositionDemand
from analytics.spares.upsets import UpsetRates
from analytics.survival.law import Family, LifeLaw


def fleet(
    *,
    n: int = 5,
    draws: int = 1,
    planned: tuple[tuple[int, ...], ...] | None = None,
    install_rate: float = 0.06,
    life_years: float = 3.0,
    shape: float = 3.0,
    unclear: float = 0.0,
    family: Family = Family.WEIBULL,
    seed: int = 3,
) -> PositionDemand:
    """Give one store and code with n positions whose ages and lives differ."""
    rng = np.random.default_rng(seed)
    spread = rng.standard_normal((draws, 1)) if draws > 1 else np.zeros((1, 1))
    law = LifeLaw(
        family=family,
        wear_location=np.log(life_years) + 0.2 * rng.standard_normal(n) + 0.2 * spread,
        wear_sigma=1 / (shape + 0.3 * spread),
        install_log_rate=np.log(install_rate) + 0.3 * spread + np.zeros((draws, n)),
        install_shape=np.full((draws, 1), 0.5),
    )
    return PositionDemand(
        store=np.array(["north"] * n, dtype=object),
        disc_code=np.array(["D1"] * n, dtype=object),
        unit=np.array([f"unit {i // 3}" for i in range(n)], dtype=object),
        age_years=np.linspace(0.0, 2.5, n),
        planned_weeks=planned or ((),) * n,
        current=law,
        following=law,
        unclear_rate=np.full((draws, n), unclear),
    )


def upsets(draws: int = 1, *, rate: float = 0.3, opened=(0.5, 0.3, 0.2), n: int = 5) -> UpsetRates:
    """Give two process units of three positions, the second partly elsewhere."""
    units = tuple(dict.fromkeys(f"unit {i // 3}" for i in range(n)))
    rates = rate * np.linspace(0.7, 1.3, draws)[:, None] if draws > 1 else np.array([[rate]])
    return UpsetRates(
        units=units,
        positions=np.full(len(units), 3),
        events_per_year=np.repeat(rates, len(units), axis=1),
        opened=np.array(opened),
    )


CASES = {
    "aged": (fleet(), None),
    "log-logistic": (fleet(family=Family.LOGLOGISTIC), None),
    "planned": (fleet(planned=((30,), (30, 82), (), (30,), (52,))), None),
    "mixed draws": (fleet(draws=40, unclear=0.05), None),
    "single upsets": (fleet(), upsets(opened=(1.0,))),
    "common upsets": (fleet(planned=((30,), (), (30, 82), (), ())), upsets(rate=0.12)),
    "everything": (
        fleet(draws=40, planned=((30,), (30, 82), (), (30,), (52,)), unclear=0.03),
        upsets(40, rate=0.12),
    ),
    "frequent upsets of all sizes": (
        fleet(draws=40, planned=((30,), (30, 82), (), (30,), (52,))),
        upsets(40, rate=0.5, opened=(0.4, 0.3, 0.3)),
    ),
    "always three at once": (fleet(n=6), upsets(rate=0.3, opened=(0.0, 0.0, 1.0), n=6)),
}
