import numpy as np
import pytest

from analytics.errors import InputError
from analytics.survival.lifetimes import lifetimes

NAN, INF = np.nan, np.inf


def test_counts_are_sums_of_weights():
    data = lifetimes([0.0, 2.0, 3.0, 4.0], [1.0, 2.0, 5.0, INF], weight=[2, 1, 3, 10])

    assert data.lives == 16
    assert data.failures == 6
    assert data.exact.tolist() == [False, True, False, False]
    assert data.ended.tolist() == [True, True, True, False]


def test_the_callers_arrays_are_copied():
    given = np.array([1.0, 2.0])
    data = lifetimes(given)
    given[:] = -1

    assert data.lower.tolist() == [1.0, 2.0]


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        ({"lower": []}, "at least one row"),
        ({"lower": [1.0, NAN]}, r"lower must be finite and >= 0: 1 row, first row 2 \(lower nan\)"),
        ({"lower": [-1.0], "upper": [2.0]}, "lower must be finite and >= 0"),
        ({"lower": [0.0]}, r"upper must be > 0 .*first row 1"),
        ({"lower": [1.0], "upper": [NAN]}, "upper must be > 0"),
        ({"lower": [INF], "upper": [INF]}, "lower must be finite"),
        ({"lower": [2.0, 2.0], "upper": [1.0, 1.0]}, "upper must be >= lower: 2 rows, first row 1"),
        ({"lower": [2.0], "entry": 3.0}, "lower must be >= entry"),
        ({"lower": [2.0], "entry": 2.0}, "upper must be > entry"),
        ({"lower": [2.0], "entry": NAN}, "entry must be finite"),
        ({"lower": [2.0], "weight": -1.0}, "weight must be finite and >= 0"),
        ({"lower": [2.0], "weight": INF}, "weight must be finite"),
        ({"lower": [2.0], "weight": 0.0}, "at least one weight must be > 0"),
        ({"lower": [2.0], "upper": [3.0, 4.0]}, r"upper must have shape \(1,\), got \(2,\)"),
        ({"lower": 2.0}, r"lower must have shape \(n,\)"),
        ({"lower": ["abc"]}, "lower must be numbers"),
    ],
)
def test_bad_rows_are_named(columns, message):
    with pytest.raises(InputError, match=message):
        lifetimes(columns.pop("lower"), columns.pop("upper", None), **columns)


def test_every_problem_is_named_at_once():
    with pytest.raises(InputError) as refused:
        lifetimes([1.0, 5.0], [NAN, 3.0], entry=[2.0, 0.0], weight=[-1.0, 1.0])

    text = str(refused.value)
    assert all(name in text for name in ("upper must be > 0", "upper must be >= lower"))
    assert all(name in text for name in ("lower must be >= entry", "weight must be finite"))
