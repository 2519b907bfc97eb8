"""Published curves without a life model: survival, hazard, incidence, recurrence."""

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.reference.check import Check, compare
from analytics.reference.published_lives import channing, cracks, fans, nist_test
from analytics.survival.curve_readings import life_quantile, restricted_mean, step_at
from analytics.survival.curves import SurvivalCurve, kaplan_meier, nelson_aalen
from analytics.survival.incidence import IncidenceCurves, cumulative_incidence
from analytics.survival.interval_curve import interval_curve
from analytics.survival.lifetimes import Lifetimes
from analytics.survival.mean_cumulative import mean_cumulative

__all__ = ["curve_checks", "incidence_checks", "recurrence_checks"]

Array = NDArray[np.float64]
R = "R 4.2.2 survfit (survival 3.5-3)"


def curve_checks(tables: Path) -> list[Check]:
    """Survival, cumulative hazard, interval curve, median and restricted mean."""
    return _nist() + _fans(tables) + _residents(tables) + _lung(tables) + _cracks(tables)


def incidence_checks(tables: Path) -> list[Check]:
    """Cumulative incidence of competing endings."""
    table = pd.read_csv(tables / "survival_mgus2.csv")
    source = f"Kyle (1993, 2002), data mgus2; {R}, cmprsk 2.2-11"
    curves = _incidence(table)
    checks = compare(
        "competing endings",
        source,
        {
            "progression at 60, 120, 240, 360 months": (
                _read(curves.age, curves.incidence[0], [60, 120, 240, 360]),
                [0.0341037130, 0.0637221680, 0.0998137159, 0.1340416443],
            ),
            "death at 60, 120, 240, 360 months": (
                _read(curves.age, curves.incidence[1], [60, 120, 240, 360]),
                [0.3203670, 0.5318177, 0.7240280, 0.7842082],
            ),
        },
        absolute=1e-7,
    )
    checks += compare(
        "competing endings",
        source,
        {
            "standard error at 60, 120, 240 months": (
                _read(curves.age, curves.std_error[0], [60, 120, 240]),
                [0.0048892579, 0.0067968484, 0.0097848468],
            )
        },
        absolute=1e-9,
    )
    by_sex = {
        "F": ([0.0738857, 0.1049407], [0.4804900, 0.6953078]),
        "M": ([0.0553102, 0.0956508], [0.5751785, 0.7481279]),
    }
    for sex, (progression, death) in by_sex.items():
        own = _incidence(table[table["sex"] == sex])
        pairs = {
            "progression at 120, 240 months": (
                _read(own.age, own.incidence[0], [120, 240]),
                progression,
            ),
            "death at 120, 240 months": (_read(own.age, own.incidence[1], [120, 240]), death),
        }
        checks += compare(f"competing endings, {sex}", source, pairs, absolute=1e-6)
    return checks


def recurrence_checks(tables: Path) -> list[Check]:
    """Mean cumulative function of the valve seats."""
    table = pd.read_csv(tables / "survival_valveSeat.csv")
    ends = table[table["status"] == 0].set_index("id")["time"]
    seats = table[table["status"] == 1]
    units = ends.index.get_indexer(pd.Index(seats["id"]))
    curve = mean_cumulative(seats["time"], units, end=ends.to_numpy())
    days = [98, 200, 300, 404, 500, 600, 650]
    expected = {
        "mean": (
            curve.mean,
            [0.14634146, 0.26829268, 0.46341463, 0.68353659, 0.80853659, 1.01426414, 1.32046529],
        ),
        "naive error": (
            curve.naive_error,
            [0.05974365, 0.08089329, 0.10631461, 0.12917766, 0.14075464, 0.15849114, 0.21065475],
        ),
        "robust error": (
            curve.robust_error,
            [0.05519934, 0.07731661, 0.10960728, 0.13593896, 0.14925494, 0.17384433, 0.22850516],
        ),
    }
    return compare(
        "valve seats",
        "Nelson & Doganaksoy, Meeker & Escobar (1998), data valveSeat; robust variance of Lawless "
        "& Nadeau (1995); R 4.2.2 and surpyval 0.25",
        {
            f"{name} at day {', '.join(map(str, days))}": (_read(curve.age, values, days), wanted)
            for name, (values, wanted) in expected.items()
        },
        absolute=1e-7,
    )


def _read(age: Array, values: Array, at: list[float] | list[int]) -> Array:
    return step_at(age, values, at, before=0.0)


def _incidence(table: pd.DataFrame) -> IncidenceCurves:
    progressed = table["pstat"] == 1
    months = np.where(progressed, table["ptime"], table["futime"])
    return cumulative_incidence(months, np.where(progressed, 1, 2 * table["death"]))


def _curves(
    topic: str, source: str, data: Lifetimes, expected: dict[str, tuple[list[float], list[float]]]
) -> list[Check]:
    """Check named attributes of both curves at given ages; names starting H are the hazard's."""
    survival = kaplan_meier(data.lower, data.ended, entry=data.entry)
    hazard = nelson_aalen(data.lower, data.ended, entry=data.entry)
    values = {
        "S": (survival.age, survival.survival),
        "S error": (survival.age, survival.std_error),
        "S low": (survival.age, survival.low),
        "S high": (survival.age, survival.high),
        "H": (hazard.age, hazard.cumulative_hazard),
        "H error": (hazard.age, hazard.std_error),
    }
    pairs = {
        f"{name} at {', '.join(f'{age:g}' for age in ages)}": (_read(*values[name], ages), wanted)
        for name, (ages, wanted) in expected.items()
    }
    return compare(topic, source, pairs, absolute=5.1e-8)


def _nist() -> list[Check]:
    return _curves(
        "NIST life test, curves",
        f"NIST/SEMATECH e-Handbook 8.2.2.1 data; {R}",
        nist_test(),
        {
            "S": ([54, 240, 386], [0.95, 0.80, 0.50]),
            "S error": ([240, 386], [0.0894427, 0.1118034]),
            "S low": ([240, 386], [0.5511456, 0.2713278]),
            "S high": ([240, 386], [0.9198179, 0.6918925]),
            "H": ([240, 386], [0.2170107, 0.6687714]),
            "H error": ([240, 386], [0.1087047, 0.2153962]),
        },
    )


def _fans(tables: Path) -> list[Check]:
    ages: list[float] = [450, 1150, 2070, 3100, 8750]
    return _curves(
        "generator fans, curves",
        f"Nelson (1982) p. 133, data genfan; {R}",
        fans(tables),
        {
            "S": (ages, [0.9857143, 0.9567227, 0.9077492, 0.8716724, 0.7070378]),
            "S error": (ages, [0.0141833, 0.0244418, 0.0360728, 0.0427434, 0.0980420]),
            "S low": ([3100, 8750], [0.7584249, 0.4680116]),
            "S high": ([3100, 8750], [0.9340580, 0.8536053]),
            "H": ([1150, 3100, 8750], [0.0436975, 0.1355903, 0.3367969]),
            "H error": ([1150, 3100, 8750], [0.0252311, 0.0484060, 0.1323895]),
        },
    )


def _residents(tables: Path) -> list[Check]:
    source = f"Klein & Moeschberger (1997) 1.16, data channing; {R} with entry"
    women = _curves(
        "residents, curves with delayed entry",
        source,
        channing(tables, 2),
        {
            "S": ([900, 1000], [0.8237460, 0.5739984]),
            "S error": ([900, 1000], [0.0568338, 0.0488434]),
            "H": ([900, 1000], [0.1915401, 0.5507257]),
        },
    )
    men = _curves(
        "residents, collapsed risk set",
        source,
        channing(tables, 1),
        {"S": ([781, 900], [0.0, 0.0]), "H": ([781, 900], [1.5, 1.7135227])},
    )
    return women + men


def _lung(tables: Path) -> list[Check]:
    table = pd.read_csv(tables / "survival_lung.csv")
    curve = kaplan_meier(table["time"], table["status"] == 2)
    hazard = nelson_aalen(table["time"], table["status"] == 2)
    mean = restricted_mean(curve, 600)
    ages = [100, 300, 600]
    source = f"Loprinzi et al. (1994), data lung; {R}"
    pairs = {
        "S at 100, 300, 600": (
            _read(curve.age, curve.survival, ages),
            [0.8639690, 0.5306081, 0.2135873],
        ),
        "S error at 100, 300, 600": (
            _read(curve.age, curve.std_error, ages),
            [0.0227102, 0.0346402, 0.0334803],
        ),
        "H at 100, 300, 600": (
            _read(hazard.age, hazard.cumulative_hazard, ages),
            [0.1456542, 0.6308429, 1.5292184],
        ),
        "H error at 300": (_read(hazard.age, hazard.std_error, [300]), [0.0649745]),
        "median, limits on the log scale": (
            (life_quantile(curve, 0.5)[0], *_log_scale_median(curve)),
            (310, 285, 363),
        ),
    }
    ends = {
        "restricted mean to 600 and its error": ((mean.mean, mean.std_error), (335.394, 13.6335))
    }
    return compare("lung", source, pairs, absolute=1e-6) + compare(
        "lung", source, ends, absolute=1e-3
    )


def _log_scale_median(curve: SurvivalCurve) -> tuple[float, float]:
    """Limits of the median from limits of log S, the default of the source; ours are log-log."""
    spread = np.exp(1.959964 * curve.std_error / curve.survival)
    low, high = curve.survival / spread, curve.survival * spread
    return float(curve.age[low <= 0.5][0]), float(curve.age[high <= 0.5][0])


def _cracks(tables: Path) -> list[Check]:
    curve = interval_curve(cracks(tables))
    return compare(
        "turbine cracks, curve from intervals",
        "Nelson (1982), Meeker & Escobar (1998), data cracks: cumulative count / 167",
        {
            "F at the eight inspections": (
                1 - curve.survival,
                [
                    0.0299401,
                    0.1257485,
                    0.1976048,
                    0.3053892,
                    0.4131737,
                    0.4251497,
                    0.4610778,
                    0.5628743,
                ],
            )
        },
        absolute=5.1e-8,
    )
