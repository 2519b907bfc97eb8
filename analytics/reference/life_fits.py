"""Published fits of life curves, with every kind of limit."""

from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from analytics.reference.check import Check, Pairs, compare
from analytics.reference.published_lives import bearings, channing, cracks, fans, nist_test
from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import life_quantile, parameters

__all__ = ["fit_checks"]

Pair = tuple[float, float]


class Row(NamedTuple):
    """Figures of one fit; a Weibull in scale and shape, others in location and sigma."""

    log_likelihood: float
    first: float
    second: float
    error_of_location: float
    error_of_log_sigma: float
    first_ratio: Pair
    second_ratio: Pair
    first_wald: Pair | None = None
    second_wald: Pair | None = None
    b10: tuple[float, float, float] | None = None


R = "R 4.2.2 survreg (survival 3.5-3) and own R likelihood"
NIST = f"NIST/SEMATECH e-Handbook 8.2.2.1 and 8.4.1.3 (606.5280, 1.7208); {R}"
BEARINGS = f"Lieblein & Zelen (1956), J. Res. NBS 57(5) RP2719 (2.10, 81.88); {R}"
FANS = f"Nelson (1982) p. 133, Meeker & Escobar (1998), data genfan; {R}"
CRACKS = f"Nelson (1982), Meeker & Escobar (1998), data cracks; {R}"
WOMEN = f"Klein & Moeschberger (1997) 1.16, Hyde (1980), data channing; {R}"

WEIBULL, LOGNORMAL, LOGLOGISTIC = Family.WEIBULL, Family.LOGNORMAL, Family.LOGLOGISTIC
# fmt: off
NIST_ROWS = {
    WEIBULL: Row(-75.1346182, 606.52756, 1.7207973, 0.2059439, 0.2918128,
                 (437.55675, 1118.8776), (0.9056454, 2.885738),
                 (405.0893, 908.1348), (0.9712661, 3.048746), (164.0224, 83.87513, 320.7549)),
    LOGNORMAL: Row(-75.1962708, 6.2260151, 0.9089140, 0.2504395, 0.2484219,
                   (5.7896641, 6.9015106), (0.5942604, 1.6026231)),
    LOGLOGISTIC: Row(-74.9667100, 6.1928803, 0.4862873, 0.2129015, 0.2827054,
                     (5.8051291, 6.7668479), (0.2952753, 0.9075473)),
}
BEARING_ROWS = {
    WEIBULL: Row(-113.6912909, 81.878334, 2.1020589, 0.1050393, 0.1563643,
                 (65.699097, 100.87541), (1.5041462, 2.7915352),
                 (66.64374, 100.5955), (1.547203, 2.855896), (28.06941, 18.0601, 43.62611)),
    LOGNORMAL: Row(-113.1285667, 4.1504545, 0.5216493, 0.1087714, 0.1474420,
                   (3.9280471, 4.3728618), (0.4007622, 0.7181707)),
    LOGLOGISTIC: Row(-113.3722588, 4.1588893, 0.2987727, 0.1090296, 0.1724439,
                     (3.9379088, 4.3803241), (0.2174253, 0.4293772)),
}
FAN_ROWS = {
    WEIBULL: Row(-135.1527199, 26296.845, 1.0584458, 0.4658897, 0.2534385,
                 (13631.24, 106086.9), (0.6059742, 1.657941),
                 (10552.07, 65534.45), (0.6440823, 1.739386), (3137.241, 1686.207, 5836.933)),
    LOGNORMAL: Row(-134.5496482, 10.1432391, 1.6795926, 0.5210958, 0.2317568,
                   (9.3792461, 11.6540138), (1.1241870, 2.8267137)),
    LOGLOGISTIC: Row(-135.0083734, 9.9601579, 0.8803405, 0.4487093, 0.2502104,
                     (9.3061957, 11.2776866), (0.5651422, 1.5272050)),
}
CRACK_ROWS = {
    WEIBULL: Row(-309.6311809, 2182.0041, 1.4847675, 0.0744267, 0.0986591,
                 (1907.537, 2567.326), (1.215209, 1.789999),
                 (1885.834, 2524.688), (1.223713, 1.801512), (479.3174, 363.4229, 632.1703)),
    LOGNORMAL: Row(-311.8822544, 7.4424184, 0.9990000, 0.0900180, 0.0873103,
                   (7.2743299, 7.6325450), (0.8478225, 1.1945979)),
    LOGLOGISTIC: Row(-309.6606897, 7.4347535, 0.5550512, 0.0799917, 0.0958296,
                     (7.2831404, 7.6017886), (0.4629702, 0.6744047)),
}
WOMEN_ROWS = {
    WEIBULL: Row(-807.8286234, 1057.1644, 9.5220653, 0.0106329, 0.1158869,
                 (1031.4836, 1077.894), (7.3565146, 11.683257),
                 (1035.361, 1079.427), (7.587314, 11.95017), (834.651, 780.8858, 892.118)),
    LOGNORMAL: Row(-809.4762951, 6.9314366, 0.1082529, 0.0097777, 0.0905464,
                   (6.9098441, 6.9498353), (0.0919907, 0.1318575)),
    LOGLOGISTIC: Row(-808.8545167, 6.9324849, 0.0637901, 0.0092414, 0.1011790,
                     (6.9123604, 6.9498990), (0.0529740, 0.0790281)),
}
# fmt: on


def fit_checks(tables: Path) -> list[Check]:
    """Refit the published life tables."""
    cases: tuple[tuple[str, str, Lifetimes, dict[Family, Row]], ...] = (
        ("NIST life test", NIST, nist_test(), NIST_ROWS),
        ("ball bearings", BEARINGS, bearings(tables), BEARING_ROWS),
        ("generator fans", FANS, fans(tables), FAN_ROWS),
        ("turbine cracks, intervals", CRACKS, cracks(tables), CRACK_ROWS),
        ("residents, delayed entry", WOMEN, channing(tables, 2), WOMEN_ROWS),
    )
    checks = [
        check
        for name, source, data, rows in cases
        for family, row in rows.items()
        for check in _one_fit(f"{name}, {family.value}", source, data, family, row)
    ]
    return checks + _exponential(tables) + _multiply_censored() + _entry_ignored(tables)


def _one_fit(topic: str, source: str, data: Lifetimes, family: Family, row: Row) -> list[Check]:
    result = fit(data, family)
    first, second = (limits(result, quantity) for quantity in parameters(result))
    errors = np.sqrt(np.diag(result.covariance))
    names = ("scale", "shape") if family is WEIBULL else ("location", "sigma")
    estimates = compare(
        topic,
        source,
        {
            "log-likelihood": (result.log_likelihood, row.log_likelihood),
            names[0]: (first.estimate, row.first),
            names[1]: (second.estimate, row.second),
        },
        relative=1e-6,
    )
    spreads = compare(
        topic,
        source,
        {
            "standard error of location": (errors[0], row.error_of_location),
            "standard error of log sigma": (errors[1], row.error_of_log_sigma),
        },
        relative=1e-4,
    )
    ends: Pairs = {
        f"{names[0]}, likelihood-ratio limit": (first.likelihood_ratio, row.first_ratio),
        f"{names[1]}, likelihood-ratio limit": (second.likelihood_ratio, row.second_ratio),
    }
    if row.b10 is not None:
        b10 = limits(result, life_quantile(result, 0.1))
        ends |= {
            f"{names[0]}, Wald limit": (first.wald, row.first_wald),
            f"{names[1]}, Wald limit": (second.wald, row.second_wald),
            "B10 and its Wald limits": ((b10.estimate, *b10.wald), row.b10),
        }
    return estimates + spreads + compare(topic, source, ends, relative=1e-5)


def _exponential(tables: Path) -> list[Check]:
    result = fit(fans(tables), Family.EXPONENTIAL)
    return compare(
        "generator fans, exponential",
        "344,440 h / 12 failures; Nelson (1982) about 28,701, from memory; R survreg",
        {
            "mean life": (np.exp(result.coefficients[0]), 344440 / 12),
            "log-likelihood": (result.log_likelihood, -135.1772225),
        },
        relative=1e-8,
    )


def _multiply_censored() -> list[Check]:
    failed = [45, 46, 34, 45, 32, 24, 58, 79, 56, 63, 34, 50]
    kept = [23, 24, 57, 78, 76, 85, 51, 59]
    result = fit(lifetimes(failed + kept, failed + [np.inf] * len(kept)), WEIBULL)
    scale, shape = (limits(result, quantity) for quantity in parameters(result))
    natural = [one.estimate + z * one.se for one in (shape, scale) for z in (-1.959964, 1.959964)]
    return compare(
        "multiply censored Weibull",
        "J. Quality Technology (1997), doi 10.1080/00224065.1997.11979730, as quoted in an open "
        "repository (2.7540, 67.9188); scipy likelihood",
        {
            "shape and scale": ((shape.estimate, scale.estimate), (2.7539529, 67.9188336)),
            "log-likelihood": (result.log_likelihood, -59.1820075),
            "natural-scale Wald limit": (natural, (1.4977378, 4.0101680, 53.875461, 81.962206)),
            "shape, log-scale Wald limit": (shape.wald, (1.7452320, 4.3457011)),
            "scale, log-scale Wald limit": (scale.wald, (55.232215, 83.519518)),
        },
        relative=1e-5,
    )


def _entry_ignored(tables: Path) -> list[Check]:
    data = channing(tables, 2)
    wrong = fit(lifetimes(data.lower, data.upper), WEIBULL)
    return compare(
        "residents, entry ignored on purpose",
        WOMEN,
        {
            "log-likelihood": (wrong.log_likelihood, -861.5000192),
            "scale": (np.exp(wrong.coefficients[0]), 1096.5927),
            "shape": (1 / wrong.sigma, 14.785265),
            "women": (float(pd.Series(data.lower).size), 362),
        },
        relative=1e-6,
    )
