"""One value as text: code words as words, everything else as it stands."""

import pandas as pd
import pytest

from dashboard.cells import cell_text
from dashboard.reading import Units
from dashboard.tables import Kind, TableView, columns, converted

VIEW = TableView(
    key="any",
    title="Any",
    rows=lambda _findings: pd.DataFrame(),
    columns=columns(("code", "Disc code", Kind.TEXT), ("family", "Family", Kind.CODE_WORD)),
)


def test_only_code_words_lose_their_underscores():
    frame = pd.DataFrame({"code": ["RS_080_10", None], "family": ["reverse_scored", None]})
    first, second = converted(VIEW, frame, Units()).to_dict("records")

    assert first == {"code": "RS_080_10", "family": "reverse scored"}
    assert [cell_text(column, second) for column in VIEW.columns] == ["", ""]


@pytest.mark.parametrize(
    ("kind", "row", "said"),
    [
        (
            Kind.MONEY,
            {"v": 296_123.0, "low": 259_001.0, "high": 3e5},
            "296,000 [259,000 to 300,000]",
        ),
        (Kind.MONEY, {"v": 296_123.0, "low": None, "high": None}, "296,123"),
        (Kind.NUMBER, {"v": 1.26, "low": 0.9, "high": float("nan")}, "1.3"),
        (Kind.DAY, {"v": pd.Timestamp("2025-03-01"), "low": None, "high": None}, "2025-03-01"),
        (Kind.MONTHS, {"v": float("inf"), "low": 12.0, "high": 20.0}, "run to failure"),
        (Kind.TEXT, {"v": "a_b", "low": None, "high": None}, "a_b"),
        (Kind.NUMBER, {"v": pd.NA, "low": 1.0, "high": 2.0}, ""),
    ],
)
def test_values_read_with_the_digits_that_matter(kind: Kind, row: dict[str, object], said: str):
    column = columns(("v", "Value", kind))[0]

    assert cell_text(column, row, ("low", "high")) == said
