"""Disc after disc at every position: fitted, worn, burst by an upset, replaced in an outage."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from datasets.demo.places import BY_CODE
from datasets.demo.truth import Parameters, install_rate, wear_scale
from datasets.demo.world import CREWS, EXPORT, PROGRAMME, UNITS, Crew, burst_tolerance

__all__ = ["CHECKS", "World", "live_through", "make_upsets", "pick_bad_lot"]

YEAR = 365.25
CHECKS = tuple(Parameters().defect_prevalence)


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """What a life needs from around it."""

    parameters: Parameters
    outages: dict[str, np.ndarray]
    lots: dict[str, pd.DataFrame]
    upsets: dict[str, list[tuple[int, str]]]
    bad_lot: str


def pick_bad_lot(lots: pd.DataFrame, positions: pd.DataFrame) -> str:
    """The lot bought between 2019 and 2022 that most positions were to get."""
    until = lots.groupby("disc_code")["received"].shift(-1).fillna(EXPORT)
    places = lots["disc_code"].map(positions["disc_code"].value_counts())
    reach = (until - lots["received"]) * places
    bought = lots["received"].between(PROGRAMME - 4 * YEAR, PROGRAMME)
    return str(lots.loc[reach[bought].idxmax(), "lot"])


def make_upsets(
    positions: pd.DataFrame, rng: np.random.Generator
) -> dict[str, list[tuple[int, str]]]:
    """Upsets per position: day and event; one upset reaches several discs of its unit."""
    reached: dict[str, list[tuple[int, str]]] = {name: [] for name in positions["position_id"]}
    number = 100
    for unit in UNITS:
        members = positions.loc[positions["unit"] == unit.name, "position_id"].to_numpy()
        begin = int(positions.loc[positions["unit"] == unit.name, "in_service_from"].min())
        years = (EXPORT - begin) / YEAR
        for moment in np.sort(rng.uniform(begin, EXPORT, rng.poisson(unit.upsets * years))):
            number += 1
            count = min(1 + rng.poisson(1.5), len(members))
            for name in rng.choice(members, count, replace=False):
                reached[str(name)].append((int(moment), f"E{number:04d}"))
    return {name: sorted(events) for name, events in reached.items()}


def live_through(
    positions: pd.DataFrame, world: World, rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Simulate every position up to the export: fittings with all they had, and their ends."""
    fitted: list[dict[str, object]] = []
    ended: list[dict[str, object]] = []
    for place in positions.to_dict("records"):
        moment = int(place["in_service_from"])
        while moment <= EXPORT:
            fitting = _fit(place, moment, world, rng)
            end = (
                _mistake(place, fitting, world, rng)
                if rng.random() < 0.004
                else _end(place, fitting, world, rng)
            )
            fitted.append(fitting)
            if end is None:
                break
            ended.append(end)
            moment = int(end["found_on"]) + _delay(str(end["reason"]), rng)
    return pd.DataFrame(fitted), pd.DataFrame(ended)


def _delay(reason: str, rng: np.random.Generator) -> int:
    return int(rng.choice([0, 1, 2], p=[0.6, 0.3, 0.1])) if reason in ("burst", "leak") else 0


def _fit(place: dict, moment: int, world: World, rng: np.random.Generator) -> dict[str, object]:
    """Fit one disc: whose hands, which lot, which defects."""
    crew = _crew(place, moment, world, rng)
    lot = _lot(str(place["disc_code"]), moment, world, rng)
    pace = world.parameters.programme_factor if moment >= PROGRAMME else 1.0
    prevalence = np.array(list(world.parameters.defect_prevalence.values()))
    chance = np.clip(prevalence * crew.defects * pace, 0, 0.6)
    defects = rng.random(len(CHECKS)) < chance
    spread = crew.torque_sd * (0.65 if moment >= PROGRAMME else 1.0)
    torque = float(rng.normal(0.99, spread))
    marked = float(lot["marked"])
    differential = place["true_pressure"] - np.nan_to_num(place["back_pressure"])
    ratio = float(differential / (marked - burst_tolerance(marked)))
    all_defects = np.array([*defects, torque < 0.9, torque > 1.1], dtype=float)
    family = BY_CODE[str(place["disc_code"])].family
    return {
        "position_id": place["position_id"],
        "installed_on": moment,
        "disc_code": place["disc_code"],
        "lot": lot["lot"],
        "marked": marked,
        "crew": crew.name,
        **dict(zip(CHECKS, defects, strict=True)),
        "torque": torque,
        "ratio": ratio,
        "cycles": place["true_cycles"],
        "log_rate": install_rate(world.parameters, all_defects),
        "scale": wear_scale(world.parameters, family, ratio, place["true_cycles"]),
        "pace": world.parameters.bad_lot_pace if lot["lot"] == world.bad_lot else 1.0,
    }


def _mistake(
    place: dict, fitting: dict, world: World, rng: np.random.Generator
) -> dict[str, object]:
    """Somebody fitted the disc of another place; the next round sees the tag."""
    own = BY_CODE[str(place["disc_code"])]
    others = [c for c, disc in BY_CODE.items() if disc.size == own.size and c != own.code]
    code = str(rng.choice(others or [c for c in BY_CODE if c != own.code]))
    lot = _lot(code, int(fitting["installed_on"]), world, rng)
    fitting |= {"disc_code": code, "lot": lot["lot"], "marked": lot["marked"], "tag_matches": True}
    moment = int(fitting["installed_on"]) + int(rng.integers(4, 70))
    return _base(place, fitting, min(moment, EXPORT), "wrong_disc") | {"kind": "wrong_disc"}


def _crew(place: dict, moment: int, world: World, rng: np.random.Generator) -> Crew:
    hard = 5 * np.log(place["true_pressure"] / place["max_operating_pressure"])
    code = BY_CODE[place["disc_code"]]
    hard += 4 * np.log(place["true_pressure"] / (code.burst * code.max_ratio))
    hard += 0.4 * np.log(place["true_cycles"] / 100)
    in_outage = np.abs(world.outages[place["turnaround_group"]] - moment).min() < 30
    crews = [c for c in CREWS if c.site == place["site"] or (in_outage and c.site is None)]
    weight = np.exp([c.hardness * hard for c in crews])
    return crews[int(rng.choice(len(crews), p=weight / weight.sum()))]


def _lot(code: str, moment: int, world: World, rng: np.random.Generator) -> dict:
    lots = world.lots[code]
    last = int(np.searchsorted(lots["received"].to_numpy(), moment - 10)) - 1
    return lots.iloc[max(last - int(rng.random() < 0.25), 0)].to_dict()


def _end(
    place: dict, fitting: dict, world: World, rng: np.random.Generator
) -> dict[str, object] | None:
    """Find what ended the disc first; None when it is still in service."""
    start = int(fitting["installed_on"])
    wear, install = _failure_ages(fitting, world.parameters, rng)
    failed = max(start + min(wear, install) * YEAR, start + 1.0)  # the log counts days
    stop, reason = _planned(place, start, world, rng)
    upset = next(((d, e) for d, e in world.upsets[place["position_id"]] if d > start), None)
    if upset is not None and upset[0] < min(failed, stop):
        return _opened(place, fitting, upset, rng)
    if failed < stop and failed <= EXPORT:
        end = _failed(place, fitting, failed, stop, rng)
        end["latent"] = "install" if install < wear else "wear"
        return end
    if stop > EXPORT:
        return None
    return _base(place, fitting, stop, reason)


def _failure_ages(
    fitting: dict, parameters: Parameters, rng: np.random.Generator
) -> tuple[float, float]:
    first, second = rng.exponential(size=2)
    wear = fitting["scale"] * first ** (1 / parameters.wear_shape)
    install = (second / np.exp(fitting["log_rate"])) ** (1 / parameters.install_shape)
    return wear / fitting["pace"], install / fitting["pace"]


def _planned(place: dict, start: int, world: World, rng: np.random.Generator) -> tuple[float, str]:
    """Next planned or opportune replacement under the site's policy of today."""
    policy = place["true_policy"]
    if policy == "yearly":
        return start + float(rng.normal(395, 45)), "planned"
    outages = world.outages[place["turnaround_group"]]
    wanted = {"each": 0.75, "second": 3.2, "none": 99.0}[policy] * YEAR
    for begin in outages[outages > start]:
        inside = begin + int(rng.integers(0, 12))
        if begin - start >= wanted and rng.random() < 0.94:
            return float(inside), "planned"
        if begin - start > 60 and rng.random() < 0.10:
            return float(inside), "opportunity"
    return np.inf, "planned"


def _base(place: dict, fitting: dict, moment: float, reason: str) -> dict[str, object]:
    return {
        "position_id": place["position_id"],
        "installed_on": fitting["installed_on"],
        "found_on": int(moment),
        "last_good_on": np.nan,
        "reason": reason,
        "upset": None,
        "peak_pressure": np.nan,
        "event_group": "",
        "latent": "",
        "kind": "removed",
    }


def _opened(
    place: dict, fitting: dict, upset: tuple[int, str], rng: np.random.Generator
) -> dict[str, object]:
    """An upset reached the disc: it opened, or, rarely, did not."""
    end = _base(place, fitting, upset[0], "burst")
    marked, tolerance = fitting["marked"], float(burst_tolerance(fitting["marked"]))
    if rng.random() < 0.012:
        end["reason"], end["kind"] = "failed_to_open", "dangerous"
        end["peak_pressure"] = marked + tolerance * rng.uniform(1.3, 2.5)
        end["upset"] = True
        return end
    end["kind"], end["event_group"] = "demand", upset[1]
    _tell(end, marked + tolerance * rng.uniform(-0.6, 2.0), True, rng)
    return end


def _tell(end: dict[str, object], peak: float, upset: bool, rng: np.random.Generator) -> None:
    """Write down what the shift knew; one burst in ten leaves neither peak nor cause."""
    if rng.random() < 0.10:
        end["kind"] = f"unclear {end['kind']}"
        end["event_group"] = ""
        return
    known_peak, known_upset = rng.random() < 0.70, rng.random() < 0.85
    if known_peak or not known_upset:
        end["peak_pressure"] = peak
    if known_upset:
        end["upset"] = upset


def _failed(
    place: dict, fitting: dict, failed: float, stop: float, rng: np.random.Generator
) -> dict[str, object]:
    """A premature end: a burst that is heard, or a leak or dent found on a round."""
    kind = str(rng.choice(["burst", "leak", "damage_found"], p=[0.76, 0.15, 0.09]))
    end = _base(place, fitting, failed, kind)
    end["kind"] = "premature"
    rounds = 91.0 if kind == "leak" else 182.0
    offset = hash_days(str(place["position_id"]), rounds)
    last = np.floor((failed - offset) / rounds) * rounds + offset
    found = min(np.ceil(last + rounds), stop)
    if kind == "burst" or found > EXPORT:
        end["reason"] = "burst"
        lowest = fitting["marked"] - float(burst_tolerance(fitting["marked"]))
        _tell(end, min(place["true_pressure"] * rng.uniform(0.8, 1.03), 0.985 * lowest), False, rng)
        return end
    end["found_on"] = int(found)
    end["last_good_on"] = max(int(last), int(fitting["installed_on"]))
    return end


def hash_days(name: str, rounds: float) -> float:
    """A position's own day in the inspection round, the same in every run."""
    return float(sum(ord(letter) * (k + 7) for k, letter in enumerate(name)) % int(rounds))
