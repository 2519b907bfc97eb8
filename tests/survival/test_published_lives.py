"""Published life tables, refitted: every figure beside its source.

Log-likelihoods and estimates to a relative 1e-6, standard errors 1e-4, limits 1e-5, the
likelihood-ratio limits 1e-4 where the sources print few digits.
"""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import pytest

from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import Lifetimes, lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import life_quantile, parameters
from datasets.reference import path

INF = np.inf
WEIBULL, LOGNORMAL = Family.WEIBULL, Family.LOGNORMAL
LOGLOGISTIC, EXPONENTIAL = Family.LOGLOGISTIC, Family.EXPONENTIAL


def censored(times, failed) -> Lifetimes:
    times = np.asarray(times, dtype=float)
    return lifetimes(times, np.where(failed, times, INF))


def nist_test() -> Lifetimes:
    # NIST/SEMATECH e-Handbook 8.2.2.1 and 8.4.1.3: 20 units, test ended at 500 h.
    failed = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]
    return lifetimes(failed + [500] * 10, failed + [INF] * 10)


def ball_bearings() -> Lifetimes:
    return lifetimes(pd.read_csv(path("ballbearing23"))["megarevs"])


def fans() -> Lifetimes:
    table = pd.read_csv(path("survival_genfan"))
    return censored(table["hours"], table["status"] == 1)


def cracks() -> Lifetimes:
    table = pd.read_csv(path("survival_cracks"))
    days = table["days"].to_numpy(dtype=float)
    return lifetimes(
        np.r_[0.0, days], np.r_[days, INF], weight=np.r_[table["fail"], 167 - table["fail"].sum()]
    )


def residents() -> Lifetimes:
    table = pd.read_csv(path("kmsurv_channing"))
    table = table[(table["age"] > table["ageentry"]) & (table["gender"] == 2)]
    age = table["age"].to_numpy(dtype=float)
    return lifetimes(age, np.where(table["death"] == 1, age, INF), entry=table["ageentry"])


@dataclass(frozen=True, kw_only=True)
class Printed:
    """Figures printed by a source; a location is log scale for a Weibull."""

    log_likelihood: float
    location: float
    sigma: float
    se_location: float
    se_log_sigma: float
    location_ratio: tuple[float, float]
    sigma_ratio: tuple[float, float]
    b10_wald: tuple[float, float, float] = field(default=())


def weibull(loglik, eta, beta, se_eta, se_beta, eta_ratio, beta_ratio, b10) -> Printed:
    return Printed(
        log_likelihood=loglik,
        location=np.log(eta),
        sigma=1 / beta,
        se_location=se_eta,
        se_log_sigma=se_beta,
        location_ratio=tuple(np.log(eta_ratio)),
        sigma_ratio=(1 / beta_ratio[1], 1 / beta_ratio[0]),
        b10_wald=b10,
    )


def other(loglik, mu, sigma, se_mu, se_sigma, mu_ratio, sigma_ratio) -> Printed:
    return Printed(
        log_likelihood=loglik,
        location=mu,
        sigma=sigma,
        se_location=se_mu,
        se_log_sigma=se_sigma,
        location_ratio=mu_ratio,
        sigma_ratio=sigma_ratio,
    )


# NIST/SEMATECH e-Handbook 8.2.2.1, 8.4.1.3 prints scale 606.5280 and shape 1.7208; the further
# digits are R 4.2.2 survreg (survival 3.5-3), the limits a likelihood of R's own (optim).
NIST = {
    WEIBULL: weibull(-75.1346182, 606.52756, 1.7207973, 0.2059439, 0.2918128,
                     (437.55675, 1118.8776), (0.9056454, 2.885738),
                     (164.0224, 83.87513, 320.7549)),
    LOGNORMAL: other(-75.1962708, 6.2260151, 0.9089140, 0.2504395, 0.2484219,
                     (5.7896641, 6.9015106), (0.5942604, 1.6026231)),
    LOGLOGISTIC: other(-74.9667100, 6.1928803, 0.4862873, 0.2129015, 0.2827054,
                       (5.8051291, 6.7668479), (0.2952753, 0.9075473)),
}  # fmt: skip
# Lieblein & Zelen (1956), J. Res. NBS 57(5) RP2719; published shape 2.10, scale 81.88. Further
# digits: R survreg.
BEARINGS = {
    WEIBULL: weibull(-113.6912909, 81.878334, 2.1020589, 0.1050393, 0.1563643,
                     (65.699097, 100.87541), (1.5041462, 2.7915352),
                     (28.06941, 18.0601, 43.62611)),
    LOGNORMAL: other(-113.1285667, 4.1504545, 0.5216493, 0.1087714, 0.1474420,
                     (3.9280471, 4.3728618), (0.4007622, 0.7181707)),
    LOGLOGISTIC: other(-113.3722588, 4.1588893, 0.2987727, 0.1090296, 0.1724439,
                       (3.9379088, 4.3803241), (0.2174253, 0.4293772)),
}  # fmt: skip
# Nelson (1982) p. 133 as R survival `genfan`; figures R survreg and R optim.
FANS = {
    WEIBULL: weibull(-135.1527199, 26296.845, 1.0584458, 0.4658897, 0.2534385,
                     (13631.24, 106086.9), (0.6059742, 1.657941),
                     (3137.241, 1686.207, 5836.933)),
    LOGNORMAL: other(-134.5496482, 10.1432391, 1.6795926, 0.5210958, 0.2317568,
                     (9.3792461, 11.6540138), (1.1241870, 2.8267137)),
    LOGLOGISTIC: other(-135.0083734, 9.9601579, 0.8803405, 0.4487093, 0.2502104,
                       (9.3061957, 11.2776866), (0.5651422, 1.5272050)),
}  # fmt: skip
# Nelson (1982) as R survival `cracks`, every failure an interval; R survreg (interval2), optim.
CRACKS = {
    WEIBULL: weibull(-309.6311809, 2182.0041, 1.4847675, 0.0744267, 0.0986591,
                     (1907.537, 2567.326), (1.215209, 1.789999),
                     (479.3174, 363.4229, 632.1703)),
    LOGNORMAL: other(-311.8822544, 7.4424184, 0.9990000, 0.0900180, 0.0873103,
                     (7.2743299, 7.6325450), (0.8478225, 1.1945979)),
    LOGLOGISTIC: other(-309.6606897, 7.4347535, 0.5550512, 0.0799917, 0.0958296,
                       (7.2831404, 7.6017886), (0.4629702, 0.6744047)),
}  # fmt: skip
# Klein & Moeschberger (1997) 1.16 as R KMsurv `channing`, women, left-truncated; R optim with
# numDeriv and a likelihood in scipy agree.
RESIDENTS = {
    WEIBULL: weibull(-807.8286234, 1057.1644, 9.5220653, 0.0106329, 0.1158869,
                     (1031.4836, 1077.894), (7.3565146, 11.683257),
                     (834.651, 780.8858, 892.118)),
    LOGNORMAL: other(-809.4762951, 6.9314366, 0.1082529, 0.0097777, 0.0905464,
                     (6.9098441, 6.9498353), (0.0919907, 0.1318575)),
    LOGLOGISTIC: other(-808.8545167, 6.9324849, 0.0637901, 0.0092414, 0.1011790,
                       (6.9123604, 6.9498990), (0.0529740, 0.0790281)),
}  # fmt: skip
TABLES = (
    (nist_test, NIST),
    (ball_bearings, BEARINGS),
    (fans, FANS),
    (cracks, CRACKS),
    (residents, RESIDENTS),
)
CASES = [
    pytest.param(data, family, printed, id=f"{data.__name__}-{family.value}")
    for data, expected in TABLES
    for family, printed in expected.items()
]


@pytest.mark.parametrize(("data", "family", "printed"), CASES)
def test_published_table(data, family, printed):
    result = fit(data(), family)

    assert result.log_likelihood == pytest.approx(printed.log_likelihood, rel=1e-6)
    assert result.coefficients[0] == pytest.approx(printed.location, rel=1e-6)
    assert result.sigma == pytest.approx(printed.sigma, rel=1e-6)
    errors = np.sqrt(np.diag(result.covariance))
    # Seven decimals printed: near 0.01 they carry five digits.
    assert errors == pytest.approx([printed.se_location, printed.se_log_sigma], rel=1e-4)
    location, spread = (limits(result, quantity) for quantity in parameters(result))
    turned = np.log if family is WEIBULL else np.asarray
    assert turned(location.likelihood_ratio) == pytest.approx(printed.location_ratio, rel=1e-5)
    ends = spread.likelihood_ratio
    sigma_ends = (1 / ends[1], 1 / ends[0]) if family is WEIBULL else ends
    assert sigma_ends == pytest.approx(printed.sigma_ratio, rel=1e-5)
    if printed.b10_wald:
        b10 = limits(result, life_quantile(result, 0.1))
        assert (b10.estimate, *b10.wald) == pytest.approx(printed.b10_wald, rel=1e-5)


def test_wald_limits_on_log_and_natural_scale_are_told_apart():
    # NIST data as above; log-scale limits R survreg, natural-scale limits lifelines 0.30.3.
    scale, shape = (
        limits(fit(nist_test(), WEIBULL), q) for q in parameters(fit(nist_test(), WEIBULL))
    )

    assert scale.wald == pytest.approx((405.0893, 908.1348), rel=1e-5)
    assert shape.wald == pytest.approx((0.9712661, 3.048746), rel=1e-5)
    assert scale.se == pytest.approx(124.9107, rel=1e-4)
    assert shape.se == pytest.approx(0.5021506, rel=1e-4)


def test_multiply_censored_table():
    # J. Quality Technology (1997), doi 10.1080/00224065.1997.11979730, as quoted in an open
    # repository (article not opened): shape 2.7540, scale 67.9188, natural-scale Wald limits
    # shape 1.4977 to 4.0102, scale 53.8755 to 81.9622; further digits by a likelihood in scipy.
    failed = [45, 46, 34, 45, 32, 24, 58, 79, 56, 63, 34, 50]
    kept = [23, 24, 57, 78, 76, 85, 51, 59]
    result = fit(lifetimes(failed + kept, failed + [INF] * len(kept)), WEIBULL)
    scale, shape = (limits(result, quantity) for quantity in parameters(result))

    assert result.log_likelihood == pytest.approx(-59.1820075, rel=1e-8)
    assert shape.estimate == pytest.approx(2.7539529, rel=1e-7)
    assert scale.estimate == pytest.approx(67.9188336, rel=1e-7)
    root = 1.959963985
    natural = [one.estimate + sign * root * one.se for one in (shape, scale) for sign in (-1, 1)]
    assert natural == pytest.approx([1.4977378, 4.0101680, 53.875461, 81.962206], rel=1e-5)
    assert shape.wald == pytest.approx((1.7452320, 4.3457011), rel=1e-5)
    assert scale.wald == pytest.approx((55.232215, 83.519518), rel=1e-5)


def test_exponential_of_the_fans():
    # 344440 h / 12 failures; Nelson (1982) about 28,701 (from memory). Log-likelihood R survreg.
    result = fit(fans(), EXPONENTIAL)

    assert np.exp(result.coefficients[0]) == pytest.approx(344440 / 12, rel=1e-12)
    assert result.log_likelihood == pytest.approx(-135.1772225, rel=1e-8)


def test_truncation_ignored_gives_the_known_wrong_answer():
    # Same women, entry set to 0: R optim, scale 1096.5927, shape 14.785265.
    data = residents()
    wrong = fit(lifetimes(data.lower, data.upper), WEIBULL)

    assert wrong.log_likelihood == pytest.approx(-861.5000192, rel=1e-8)
    assert np.exp(wrong.coefficients[0]) == pytest.approx(1096.5927, rel=1e-6)
    assert 1 / wrong.sigma == pytest.approx(14.785265, rel=1e-6)
