"""Whole plants played out in time, for studies of the spares forecast.

Every disc, upset and turnaround of eight years of history and one year to come,
with the truth that made them, so that a forecast can be held against both.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
import pandas as pd
from scipy.optimize import minimize

from analytics.spares.counts import WEEK_YEARS
from analytics.spares.demand import PositionDemand
from analytics.spares.upsets import UpsetRates
from analytics.survival.law import Family, LifeLaw

BEGINS = pd.Timestamp("2016-01-01")
HISTORY_YEARS = 8.0
HORIZON_WEEKS = 52
FITTING_LOSS = 0.03
STORES, CODES, PER_GROUP, PER_UNIT = 2, 3, 12, 6


class Kind(Enum):
    """What the plant's demand is made of."""

    WEAR_AND_TURNAROUNDS = "wear and turnarounds"
    WEAR = "wear alone"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    shape: float
    scale_years: np.ndarray
    upset_rate: float
    opened: np.ndarray
    turnarounds: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plant:
    """A played-out plant: what the log shows, what is to come, what made it."""

    truth: Truth
    places: pd.DataFrame
    lives: pd.DataFrame
    usage: pd.DataFrame
    age_years: np.ndarray


def build(kind: Kind, seed: int) -> Plant:
    rng = np.random.default_rng(seed)
    truth = _truth(kind, rng)
    places = pd.DataFrame(
        [
            (f"P{s}{c}{i:02d}", f"store {s}", f"D{c}", c, s, f"unit {s}{c}{i // PER_UNIT}")
            for s in range(STORES)
            for c in range(CODES)
            for i in range(PER_GROUP)
        ],
        columns=["position_id", "store", "disc_code", "code", "site", "unit"],
    )
    upsets = _upsets(places, truth, rng)
    rows, ages = [], []
    for place in places.itertuples():
        lived, age = _position(place, truth, upsets[place.position_id], rng)
        rows += lived
        ages.append(age)
    columns = ["position_id", "store", "disc_code", "code", "unit", "started", "ended", "ending"]
    lives = pd.DataFrame(rows, columns=[*columns, "event_group"])
    return Plant(
        truth=truth,
        places=places,
        lives=lives,
        usage=_usage(lives, rng),
        age_years=np.array(ages),
    )


def _truth(kind: Kind, rng) -> Truth:
    end = HISTORY_YEARS + 2.0
    dates = tuple(
        tuple(np.arange(rng.uniform(0.5, 2.0), end, 2.0))
        if kind is Kind.WEAR_AND_TURNAROUNDS
        else ()
        for _ in range(STORES)
    )
    return Truth(
        shape=1.0 if kind is Kind.NEITHER else rng.uniform(2.5, 3.5),
        scale_years=rng.uniform(2.5, 5.0, CODES),
        upset_rate=rng.uniform(0.03, 0.15),
        opened=np.array([0.6, 0.3, 0.1]),
        turnarounds=dates,
    )


def _upsets(places, truth, rng) -> dict[str, list[tuple[float, str]]]:
    found: dict[str, list[tuple[float, str]]] = {name: [] for name in places["position_id"]}
    span = HISTORY_YEARS + 1.5
    for unit, group in places.groupby("unit"):
        for number, when in enumerate(
            np.sort(rng.uniform(0, span, rng.poisson(truth.upset_rate * span)))
        ):
            size = 1 + rng.choice(3, p=truth.opened)
            for name in rng.choice(group["position_id"].to_numpy(), size, replace=False):
                found[name].append((float(when), f"{unit} E{number}"))
    return found


def _position(place, truth, upsets, rng):
    """Lives of one position to the end of the horizon, and its age at the cut."""
    clock, rows, age = rng.uniform(0, 1.5), [], None
    others = [(when, "demand", group) for when, group in upsets]
    others += [(when, "planned", None) for when in truth.turnarounds[place.site]]
    others.sort(key=lambda item: item[0])
    end = HISTORY_YEARS + HORIZON_WEEKS * WEEK_YEARS
    while clock < end:
        fails = clock + truth.scale_years[place.code] * rng.weibull(truth.shape)
        first = next((item for item in others if item[0] > clock), (np.inf, "", None))
        when, ending, group = first if first[0] < fails else (fails, "premature", None)
        if clock <= HISTORY_YEARS < when:
            age = HISTORY_YEARS - clock
        rows.append(
            (
                place.position_id,
                place.store,
                place.disc_code,
                place.code,
                place.unit,
                clock,
                when,
                ending,
                group,
            )
        )
        clock = when
    return rows, age


def _usage(lives, rng) -> pd.DataFrame:
    end = HISTORY_YEARS + HORIZON_WEEKS * WEEK_YEARS
    used = lives[lives["ended"] <= end]
    pieces = 1 + rng.negative_binomial(1, 1 - FITTING_LOSS, len(used))
    table = used.loc[used.index.repeat(pieces), ["store", "disc_code", "ended"]]
    return table.assign(used_on=when(table["ended"])).drop(columns="ended")


def when(years):
    return BEGINS + pd.to_timedelta(np.asarray(years) * 365.25, unit="D")


def fitted(plant: Plant, draws: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Fit a Weibull per code with one shape to the log; draws of shape and scales."""
    log = plant.lives[plant.lives["started"] < HISTORY_YEARS]
    life = np.minimum(log["ended"], HISTORY_YEARS).to_numpy() - log["started"].to_numpy()
    failed = ((log["ending"] == "premature") & (log["ended"] <= HISTORY_YEARS)).to_numpy()
    code = log["code"].to_numpy()

    def minus_log_posterior(theta):
        shape, location = np.exp(theta[0]), theta[1:][code]
        # The search may look far off; there the answer only has to be bad.
        z = np.minimum(shape * (np.log(life) - location), 100.0)
        log_likelihood = (failed * (theta[0] - np.log(life) + z) - np.exp(z)).sum()
        prior = ((theta[0] - 0.5) / 0.7) ** 2 / 2 + (((theta[1:] - 1.5) / 1.5) ** 2).sum() / 2
        return prior - log_likelihood

    best = minimize(minus_log_posterior, np.array([0.5, *[1.5] * CODES]), method="BFGS")
    inverse = np.linalg.inv(_hessian(minus_log_posterior, best.x))
    theta = np.random.default_rng(seed).multivariate_normal(best.x, inverse, size=draws)
    return np.exp(theta[:, 0]), theta[:, 1:]


def _hessian(function, at, step=1e-3):
    size = len(at)
    hessian = np.zeros((size, size))
    shifts = np.eye(size) * step
    for i in range(size):
        for j in range(size):
            hessian[i, j] = (
                function(at + shifts[i] + shifts[j])
                - function(at + shifts[i] - shifts[j])
                - function(at - shifts[i] + shifts[j])
                + function(at - shifts[i] - shifts[j])
            ) / (4 * step**2)
    return (hessian + hessian.T) / 2


def positions(plant: Plant, shape: np.ndarray, log_scale: np.ndarray) -> PositionDemand:
    """Lay a plant and draws of its law out for the forecast."""
    draws, n = len(shape), len(plant.places)
    law = LifeLaw(
        family=Family.WEIBULL,
        wear_location=log_scale[:, plant.places["code"].to_numpy()],
        wear_sigma=1 / shape[:, None],
        install_log_rate=np.full((draws, 1), -np.inf),
        install_shape=np.ones((draws, 1)),
    )
    planned = tuple(
        tuple(
            int(np.ceil((date - HISTORY_YEARS) / WEEK_YEARS))
            for date in plant.truth.turnarounds[site]
            if 0 < date - HISTORY_YEARS <= HORIZON_WEEKS * WEEK_YEARS
        )
        for site in plant.places["site"]
    )
    return PositionDemand(
        store=plant.places["store"].to_numpy(dtype=object),
        disc_code=plant.places["disc_code"].to_numpy(dtype=object),
        unit=plant.places["unit"].to_numpy(dtype=object),
        age_years=plant.age_years,
        planned_weeks=planned,
        current=law,
        following=law,
        unclear_rate=np.zeros((draws, n)),
    )


def true_positions(plant: Plant) -> tuple[PositionDemand, UpsetRates]:
    """The same with the parameters that made the plant."""
    truth = plant.truth
    units = plant.places.groupby("unit", sort=False)["position_id"].size()
    rates = UpsetRates(
        units=tuple(units.index),
        positions=units.to_numpy(),
        events_per_year=np.full((1, len(units)), truth.upset_rate),
        opened=truth.opened,
    )
    return positions(plant, np.array([truth.shape]), np.log(truth.scale_years)[None, :]), rates
