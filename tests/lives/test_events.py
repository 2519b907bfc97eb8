import numpy as np
import pandas as pd
import pytest

from analytics.lives.events import endings


def ending_of(reason, *, upset=None, peak=np.nan, window=(9.5, 10.5)) -> str:
    row = pd.DataFrame(
        {
            "reason": [reason],
            "upset": pd.array([upset], dtype="boolean"),
            "peak_pressure_barg": [peak],
        }
    )
    return endings(row, np.array([window[0]]), np.array([window[1]])).iloc[0]


# Each row is a rule of the trade (common practice, no source).
@pytest.mark.parametrize(
    ("kept", "expected"),
    [
        ({"reason": "burst", "peak": 9.4}, "premature"),
        ({"reason": "burst", "peak": 9.5}, "demand"),
        ({"reason": "burst", "upset": False}, "premature"),
        ({"reason": "burst", "upset": True}, "demand"),
        ({"reason": "burst"}, "unclear"),
        ({"reason": "burst", "upset": True, "peak": 5.0}, "unclear"),
        ({"reason": "burst", "upset": False, "peak": 11.0}, "unclear"),
        ({"reason": "burst", "peak": 9.4, "window": (np.nan, np.nan)}, "unclear"),
        ({"reason": "burst", "peak": 30.0}, "demand"),
        ({"reason": "leak"}, "premature"),
        ({"reason": "damage_found"}, "premature"),
        ({"reason": "planned"}, "planned"),
        ({"reason": "opportunity"}, "opportunity"),
        ({"reason": "planned", "peak": 10.6}, "dangerous"),
        ({"reason": "damage_found", "peak": 10.6}, "dangerous"),
        ({"reason": "failed_to_open"}, "dangerous"),
        ({"reason": "wrong_disc", "peak": 99.0}, "wrong_disc"),
        ({"reason": "unknown"}, "unclear"),
    ],
)
def test_ending_follows_the_rule(kept, expected):
    assert ending_of(**kept) == expected
