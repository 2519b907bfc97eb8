"""Published regressions on log life, refitted: every figure beside its source."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from analytics.survival.fit import fit
from analytics.survival.law import Family
from analytics.survival.lifetimes import lifetimes
from analytics.survival.limits import limits
from analytics.survival.quantities import life_quantile
from datasets.reference import path


def table(name, time, failed, **renamed):
    frame = pd.read_csv(path(name)).assign(**renamed)
    age = frame[time].to_numpy(dtype=float)
    return frame, lifetimes(age, np.where(failed(frame), age, np.inf))


def arrhenius():
    frame, data = table("nist_arrhenius", "time", lambda f: f["status"] == 1)
    return frame, data, (1 / (8.617e-5 * (frame["temp"] + 273.16))).to_numpy()[:, None]


def motors():
    frame, data = table("survival_imotor", "time", lambda f: f["status"] == 1)
    return frame, data, (11604.83 / (frame["temp"] + 273.16)).to_numpy()[:, None]


def check(result, coefficients, errors, sigma, log_likelihood):
    assert result.coefficients == pytest.approx(coefficients, rel=1e-6)
    assert result.sigma == pytest.approx(sigma, rel=1e-6)
    assert result.log_likelihood == pytest.approx(log_likelihood, rel=1e-8)
    if errors:
        found = np.sqrt(np.diag(result.covariance))[: len(errors)]
        assert found == pytest.approx(errors, rel=1e-4)


# NIST/SEMATECH e-Handbook 8.4.2.2 prints -19.906, 0.863, 0.772; further digits and the other
# families R 4.2.2 survreg (survival 3.5-3).
@pytest.mark.parametrize(
    ("family", "coefficients", "errors", "sigma", "log_likelihood"),
    [
        (
            Family.LOGNORMAL,
            [-19.9061735, 0.8629029],
            [2.3204223, 0.0760629],
            0.7719863,
            -476.7089135,
        ),
        (Family.WEIBULL, [-19.1740662, 0.8511932], None, 0.6410977, -483.5321517),
        (Family.LOGLOGISTIC, [-19.3134301, 0.8430794], None, 0.4230726, -476.3584600),
    ],
)
def test_nist_arrhenius(family, coefficients, errors, sigma, log_likelihood):
    _, data, x = arrhenius()
    check(fit(data, family, x, ("per_kt",)), coefficients, errors, sigma, log_likelihood)


def test_nist_arrhenius_cells_and_their_ratio_test():
    # NIST 8.4.2.2 prints LR 3.194015 and p 0.3626682 on 3 df, for separate against one line.
    frame, data, x = arrhenius()
    cells = {
        85: (8.8914091, 1.2117463, -53.3546082),
        105: (6.4697120, 0.7147883, -265.2322927),
        125: (5.3333760, 0.8105590, -156.5250050),
    }
    total = 0.0
    for temperature, (mu, sigma, log_likelihood) in cells.items():
        here = (frame["temp"] == temperature).to_numpy()
        cell = fit(lifetimes(data.lower[here], data.upper[here]), Family.LOGNORMAL)
        check(cell, [mu], None, sigma, log_likelihood)
        total += cell.log_likelihood
    one_line = fit(data, Family.LOGNORMAL, x, ("per_kt",))
    ratio = 2 * (total - one_line.log_likelihood)

    assert fit(data, Family.LOGNORMAL).log_likelihood == pytest.approx(-550.9983853, rel=1e-8)
    assert ratio == pytest.approx(3.194015, abs=5e-7)
    assert chi2.sf(ratio, 3) == pytest.approx(0.3626682, abs=5e-8)


def test_motor_insulation():
    # Nelson & Hahn (1972) as R survival `imotor`; figures R survreg 3.5-3. The prediction at
    # 130 C is the example of MASS 7.3-58.2 `motors`.
    frame, data, x = motors()
    log_sigma = np.log(0.3254444)
    result = fit(data, Family.WEIBULL, x, ("per_kt",))
    check(result, [-13.3534560, 0.8379528], [1.5006039, 0.0599988], 0.3254444, -146.2543174)
    assert np.log(result.sigma) == pytest.approx(log_sigma, rel=1e-6)
    check(
        fit(data, Family.LOGNORMAL, x, ("per_kt",)),
        [-13.8579697, 0.8552723],
        None,
        0.5967880,
        -148.5373310,
    )
    assert fit(data, Family.WEIBULL).log_likelihood == pytest.approx(-169.5267074, rel=1e-8)

    plain = fit(data, Family.WEIBULL, frame[["temp"]].to_numpy(), ("temp",))
    check(plain, [16.3185194, -0.0453070535], None, 0.3343253, -147.3650612)
    scale = limits(plain, life_quantile(plain, -np.expm1(-1.0), [130.0]))
    assert scale.estimate == pytest.approx(33813.061, rel=1e-6)
    assert scale.se == pytest.approx(7506.360, rel=1e-4)


def test_ovarian_trial():
    # Example of R survreg (survival 3.5-3), data `ovarian`.
    frame, data = table("survival_ovarian", "futime", lambda f: f["fustat"] == 1)
    x, names = frame[["ecog.ps", "rx"]].to_numpy(dtype=float), ("ecog.ps", "rx")
    check(
        fit(data, Family.WEIBULL, x, names),
        [6.8966931, -0.3850425, 0.5286455],
        [1.1775472, 0.5270018, 0.5292019],
        0.8838731,
        -97.0844932,
    )
    check(
        fit(data, Family.EXPONENTIAL, x, names),
        [6.9618376, -0.4331347, 0.5815027],
        None,
        1.0,
        -97.1980393,
    )
    assert fit(data, Family.WEIBULL).log_likelihood == pytest.approx(-97.9539010, rel=1e-8)


def test_lung_regression():
    # R survreg 3.5-3, data `lung` (Loprinzi 1994), 227 complete rows.
    frame = pd.read_csv(path("survival_lung")).dropna(subset=["age", "sex", "ph.karno"])
    age = frame["time"].to_numpy(dtype=float)
    data = lifetimes(age, np.where(frame["status"] == 2, age, np.inf))
    names = ("age", "sex", "ph.karno")
    check(
        fit(data, Family.WEIBULL, frame[list(names)].to_numpy(dtype=float), names),
        [5.3263158, -0.0089105825, 0.3701870515, 0.0092641716],
        None,
        0.7551445,
        -1138.6917844,
    )
