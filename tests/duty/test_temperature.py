import numpy as np
import pandas as pd
import pytest

from analytics.duty.temperature import temperature_factor


def factor(curve, there, tag=20.0) -> float:
    return float(temperature_factor(pd.Series([curve]), pd.Series([there]), pd.Series([tag]))[0])


CURVE = "-50:1.06/20:1.00/120:0.90"


@pytest.mark.parametrize(
    ("there", "tag", "expected"),
    # Straight lines between the points, worked by hand.
    [(20.0, 20.0, 1.0), (70.0, 20.0, 0.95), (-15.0, 20.0, 1.03), (120.0, 70.0, 0.90 / 0.95)],
)
def test_factor_lies_on_the_line_between_points(there, tag, expected):
    assert factor(CURVE, there, tag) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("curve", "there", "tag"),
    [(CURVE, 121.0, 20.0), (CURVE, 20.0, -60.0), (CURVE, np.nan, 20.0), (None, 20.0, 20.0)],
)
def test_no_factor_beyond_the_curve_or_without_one(curve, there, tag):
    assert np.isnan(factor(curve, there, tag))
