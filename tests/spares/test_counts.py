import numpy as np
import pytest

from analytics.spares.counts import WEEK_YEARS, choose_step, position_counts
from analytics.spares.renewal import aged_cdf, renewal_counts
from analytics.survival.law import Family, LifeLaw


def law(draws: int = 3, family: Family = Family.WEIBULL) -> LifeLaw:
    return LifeLaw(
        family=family,
        wear_location=np.log(np.linspace(1.5, 4.0, draws))[:, None] * np.ones((1, 2)),
        wear_sigma=np.linspace(0.3, 0.6, draws)[:, None],
        install_log_rate=np.log(np.linspace(0.02, 0.2, draws))[:, None] * np.ones((1, 2)),
        install_shape=np.linspace(0.4, 0.8, draws)[:, None],
    )


def counts(life: LifeLaw, **changes):
    options = {
        "age_years": 0.0,
        "other_rate": np.zeros(len(life.wear_location)),
        "planned_weeks": (),
        "n_weeks": 104,
        "step_weeks": 2.0,
    }
    return position_counts(life, life, 0, **(options | changes))


def mean(pmf):
    return np.einsum("n,nwd->wd", np.arange(len(pmf)), pmf)


@pytest.mark.parametrize("family", [Family.WEIBULL, Family.LOGNORMAL, Family.LOGLOGISTIC])
@pytest.mark.parametrize("age", [0.0, 1.2])
def test_every_week_agrees_with_one_law_at_a_time(family, age):
    life = law(family=family)

    found = counts(life, age_years=age).joined

    for draw in range(3):
        for week in (1, 7, 52, 104):
            whole = renewal_counts(
                aged_cdf(life, draw=draw),
                week * WEEK_YEARS,
                first_cdf=aged_cdf(life, age, draw=draw),
                tolerance=1e-7,
            )
            size = min(len(found), whole.pmf.size)
            np.testing.assert_allclose(found[:size, week, draw], whole.pmf[:size], atol=3e-5)


def test_chosen_step_keeps_the_promised_error():
    life = law()
    rate = np.zeros((3, 2))

    step, error = choose_step(life, n_weeks=104, other_rate=rate, tolerance=1e-5)

    assert error <= 1e-5
    truth = counts(life, step_weeks=0.125).joined
    found = counts(life, step_weeks=step).joined
    size = min(len(truth), len(found))
    assert np.abs(truth[:size] - found[:size]).max() <= 2.5e-5


def test_probabilities_are_probabilities():
    found = counts(law(), age_years=0.7, planned_weeks=(20, 90)).joined

    assert (found >= 0).all()
    np.testing.assert_allclose(found.sum(axis=0), 1.0, atol=1e-6)
    assert (np.diff(mean(found), axis=0) >= -1e-7).all()


def test_planned_replacement_cuts_the_count_in_two():
    life = law()

    found = counts(life, age_years=1.0, planned_weeks=(40,)).joined

    before, after = counts(life, age_years=1.0).joined[:, 40], counts(life).joined[:, 64]
    for draw in range(3):
        joined = np.convolve(before[:, draw], after[:, draw])[: len(found)]
        np.testing.assert_allclose(found[: joined.size, 104, draw], joined, atol=1e-6)


def test_planned_replacement_on_the_last_week_changes_nothing_before_it():
    life = law()

    with_plan, without = counts(life, planned_weeks=(104,)).joined, counts(life).joined

    size = min(len(with_plan), len(without))
    np.testing.assert_allclose(with_plan[:size], without[:size], atol=1e-9)


def test_constant_rate_alone_is_poisson():
    from scipy.stats import poisson

    life = LifeLaw(
        family=Family.WEIBULL,
        wear_location=np.full((1, 1), 20.0),
        wear_sigma=np.ones((1, 1)),
        install_log_rate=np.full((1, 1), -np.inf),
        install_shape=np.ones((1, 1)),
    )

    found = counts(life, other_rate=np.array([0.8])).joined

    expected = poisson.pmf(np.arange(len(found)), 0.8 * 104 * WEEK_YEARS)
    np.testing.assert_allclose(found[:, 104, 0], expected, atol=1e-5)
