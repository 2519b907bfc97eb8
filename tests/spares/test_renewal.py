import numpy as np
import pytest
from scipy.stats import poisson

from analytics.errors import NotConverged
from analytics.spares.renewal import aged_cdf, renewal_counts
from analytics.survival.law import Family, LifeLaw


def weibull(shape: float):
    return lambda times: -np.expm1(-(times**shape))


def erlang_two(rate: float):
    return lambda times: 1 - (1 + rate * times) * np.exp(-rate * times)


@pytest.mark.parametrize(
    ("rate", "horizon", "expected"),
    [
        # Cox, Renewal Theory (1962): life of two exponential stages, M(t) = rt/2 - 1/4 +
        # exp(-2rt)/4 (from memory; re-derived). Printed to 10 digits, hence 1e-9.
        (1, 0.1, 0.0046826883),
        (1, 0.5, 0.0919698603),
        (1, 1.0, 0.2838338208),
        (1, 2.0, 0.7545789097),
        (1, 5.0, 2.2500113500),
        (2, 0.1, 0.0175800115),
        (2, 1.0, 0.7545789097),
        (2, 2.0, 1.7500838657),
    ],
)
def test_mean_matches_closed_form_of_two_stages(rate, horizon, expected):
    assert renewal_counts(erlang_two(rate), horizon).mean == pytest.approx(expected, abs=1e-9)


def test_distribution_matches_closed_form_of_two_stages():
    # P(N(2) = n) of the same life: a Poisson(2) count read in pairs. 8 printed digits.
    counts = renewal_counts(erlang_two(1), 2.0, tolerance=1e-9)

    expected = [0.40600585, 0.45111761, 0.12631293, 0.01546689, 0.00105022]
    np.testing.assert_allclose(counts.pmf[:5], expected, atol=6e-9)
    numbers = np.arange(counts.pmf.size)
    variance = counts.pmf @ numbers**2 - counts.mean**2
    # Independent route: N = floor(K / 2) with K Poisson(2).
    pairs, chances = np.arange(200) // 2, poisson.pmf(np.arange(200), 2.0)
    assert variance == pytest.approx(chances @ pairs**2 - (chances @ pairs) ** 2, abs=1e-8)


def test_exponential_life_gives_a_poisson_count():
    counts = renewal_counts(lambda times: -np.expm1(-times / 0.7), 2.0)

    expected = poisson.pmf(np.arange(counts.pmf.size), 2 / 0.7)
    np.testing.assert_allclose(counts.pmf, expected, atol=1e-8)


def test_uniform_life_matches_closed_form():
    # M(t) = exp(t) - 1 for t <= 1: Barlow & Proschan (1965) (from memory; re-derived).
    def uniform(times):
        return np.clip(times, 0.0, 1.0)

    assert renewal_counts(uniform, 0.5).mean == pytest.approx(0.6487212707, abs=1e-9)
    assert renewal_counts(uniform, 1.0).mean == pytest.approx(1.7182818285, abs=1e-8)


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        # Power series of Smith & Leadbetter (1963), computed to 160 digits; scale 1.
        (
            1.5,
            [
                0.121901501447,
                0.330269844472,
                0.841578136650,
                1.39091515034,
                1.94550079993,
                3.05371394472,
            ],
        ),
        (
            2.0,
            [
                0.0612246012002,
                0.230793893610,
                0.753691277537,
                1.32949053927,
                1.89403934679,
                3.02174500895,
            ],
        ),
    ],
)
def test_mean_matches_weibull_series(shape, expected):
    horizons = [0.25, 0.5, 1, 1.5, 2, 3]

    found = [renewal_counts(weibull(shape), t, tolerance=1e-9).mean for t in horizons]

    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_aged_first_life_matches_quadrature():
    # Weibull shape 2, scale 1, age 0.5: M_D(T) = F_1(T) + int M(T - x) dF_1(x) by quadrature
    # to 30 digits; simulation of 1e6 runs gave 1.15152 +- 0.00068 for T = 1.
    one = np.ones((1, 1))
    law = LifeLaw(
        family=Family.WEIBULL,
        wear_location=0 * one,
        wear_sigma=one / 2,
        install_log_rate=-np.inf * one,
        install_shape=one,
    )
    first, later = aged_cdf(law, 0.5), aged_cdf(law)

    half = renewal_counts(later, 0.5, first_cdf=first)
    whole = renewal_counts(later, 1.0, first_cdf=first)

    assert half.mean == pytest.approx(0.5699050858, abs=1e-8)
    assert whole.mean == pytest.approx(1.1515865510, abs=1e-8)


def test_stationary_start_gives_a_straight_line():
    # Started in equilibrium, M(t) = t / mean for any life: Weibull(2, 1), mean 0.8862269255.
    from scipy.special import erf

    mean = np.sqrt(np.pi) / 2

    def equilibrium(times):
        return erf(times)

    counts = renewal_counts(weibull(2.0), 1.3, first_cdf=equilibrium)
    assert counts.mean == pytest.approx(1.3 / mean, abs=1e-8)


def test_hazard_infinite_at_zero_keeps_its_promise():
    # Shape 1/2 has no density at 0; the answer at 1e-8 must stand beside one at 1e-5.
    def early(times):
        return -np.expm1(-0.3 * np.sqrt(times))

    coarse, fine = (renewal_counts(early, 2.0, tolerance=tol) for tol in (1e-5, 1e-8))

    assert coarse.mean == pytest.approx(fine.mean, abs=1e-5)
    assert fine.pmf.sum() == pytest.approx(1.0, abs=1e-8)


def test_refuses_a_negative_span_and_an_unreachable_error():
    with pytest.raises(ValueError, match="horizon_years must be >= 0, got -1"):
        renewal_counts(weibull(2.0), -1.0)
    with pytest.raises(NotConverged, match="ask for a larger tolerance"):
        renewal_counts(weibull(0.4), 3.0, tolerance=1e-16)
