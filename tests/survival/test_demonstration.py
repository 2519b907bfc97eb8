import pytest
from scipy.stats import binom

from analytics.errors import InputError
from analytics.survival.demonstration import (
    demonstrated_reliability,
    success_run_units,
    units_for_life,
)


def test_success_run_numbers():
    # Success-run theorem n = ln(1 - C) / ln R, rounded up.
    pairs = {(0.9, 0.9): 22, (0.9, 0.95): 29, (0.95, 0.95): 59, (0.99, 0.9): 230}
    pairs |= {(0.99, 0.95): 299, (0.999, 0.95): 2995}
    found = {(r, c): success_run_units(r, confidence=c) for r, c in pairs}

    assert found == pairs
    assert demonstrated_reliability(29) == pytest.approx(0.9018553723, abs=5e-11)


def test_demonstration_with_failures():
    # Binomial tail; R = 0.9, C = 0.95: 29, 46, 61, 76 units for 0 to 3 failures.
    assert [success_run_units(0.9, failures=f) for f in range(4)] == [29, 46, 61, 76]
    assert demonstrated_reliability(20, failures=2) == pytest.approx(0.7173814751, abs=5e-11)
    # R = 0.9 at 1000 h, shape 2, test 500 h: 113.73, so 114.
    assert units_for_life(0.9, 1000.0, 500.0, 2.0) == 114


def test_success_run_is_the_least_number():
    # Independent route: the binomial tail itself, on both sides of the answer.
    for reliability in (0.5, 0.8, 0.97):
        for failures in (0, 1, 5):
            n = success_run_units(reliability, failures=failures, confidence=0.8)
            assert binom.cdf(failures, n, 1 - reliability) <= 0.2
            assert binom.cdf(failures, n - 1, 1 - reliability) > 0.2


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: success_run_units(1.0), "reliability must lie"),
        (lambda: success_run_units(0.9, failures=-1), "failures must be >= 0"),
        (lambda: demonstrated_reliability(2, failures=2), "failures must lie"),
        (lambda: units_for_life(0.9, 0.0, 1.0, 1.0), "age must be > 0"),
        (lambda: units_for_life(1.9, 1.0, 1.0, 1.0), "reliability must lie"),
        (lambda: success_run_units(0.9, confidence=0.0), "confidence must lie"),
    ],
)
def test_bad_questions_are_refused(call, message):
    with pytest.raises(InputError, match=message):
        call()
