"""The name of the data: the same for the same values, another for any other."""

import pandas as pd
import pytest

from analytics.logs.fingerprint import fingerprint

INSTALLS = pd.DataFrame(
    {
        "install_id": ["I1", "I2", None],
        "installed_on": pd.to_datetime(["2024-01-05", "2024-02-05", None]),
        "marked_burst_pressure_barg": [6.1, float("nan"), 6.2],
        "seat_clean": pd.array([True, None, False], dtype="boolean"),
        "source_file": "installs.csv",
        "source_line": [2, 3, 4],
    }
)


def test_order_and_origin_of_the_rows_do_not_matter():
    moved = INSTALLS.iloc[::-1][INSTALLS.columns[::-1]].assign(source_line=[9, 8, 7])

    assert fingerprint({"installs": moved}) == fingerprint({"installs": INSTALLS})


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("install_id", "I3"),
        ("installed_on", pd.Timestamp("2024-02-06")),
        ("marked_burst_pressure_barg", 6.1 + 1e-12),
        ("seat_clean", True),
    ],
)
def test_any_other_value_gives_another_name(column: str, value: object):
    other = INSTALLS.copy()
    other.loc[1, column] = value

    assert fingerprint({"installs": other}) != fingerprint({"installs": INSTALLS})


def test_a_row_more_a_column_less_or_another_table_gives_another_name():
    names = {
        fingerprint({"installs": INSTALLS}),
        fingerprint({"removals": INSTALLS}),
        fingerprint({"installs": INSTALLS.iloc[:2]}),
        fingerprint({"installs": INSTALLS.drop(columns="seat_clean")}),
        fingerprint({"installs": pd.concat([INSTALLS, INSTALLS.iloc[:1]])}),
        fingerprint({}),
    }

    assert len(names) == 6
