"""Reading a file of events."""

import numpy as np
import pytest

from analytics.errors import InputError
from analytics.survival.trend_log import read_trend_events


@pytest.fixture
def write(tmp_path):
    def save(text, encoding="utf-8"):
        file = tmp_path / "events.csv"
        file.write_bytes(text.encode(encoding))
        return file

    return save


def test_reads_times_systems_and_ends(write):
    table = read_trend_events(write("system,time,note,end\nA,5.5,x,100\n\n007,,,90\nA,7e1,,\n"))

    assert table["system"].tolist() == ["A", "007", "A"]
    assert table["time"].tolist() == pytest.approx([5.5, np.nan, 70.0], nan_ok=True)
    assert table["end"].tolist() == pytest.approx([100, 90, np.nan], nan_ok=True)


def test_byte_order_mark_and_spaces_do_no_harm(write):
    assert read_trend_events(write("\ufeff time \r\n 5 \r\n"))["time"].tolist() == [5.0]


def test_quoted_line_break_keeps_the_line_number(write):
    with pytest.raises(InputError, match="line 4: time"):
        read_trend_events(write('time,note\n1,"two\nlines"\nx,\n'))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("\n \n", "is empty"),
        ("age\n5\n", "needs a column `time`; it has age"),
        ("time,time\n5,6\n", "more than once"),
        ("time\n", "at least one row"),
        ("time\nsoon\n", "line 2: time must be a number > 0, got 'soon'"),
        ("time\n5\n-1\n", "line 3: time must be a number > 0, got '-1'"),
        ("time\n0\n", "line 2"),
        ("time\nnan\n", "line 2"),
        ("time\ninf\n", "line 2"),
        ("time,other\n,1\n", "line 2: time must not be blank"),
        ("time,system\n5\n", "line 2: system must not be blank"),
        ('time\n"5\n', "cannot be read as a CSV file"),
    ],
)
def test_unusable_files_are_refused_in_one_line(write, text, message):
    with pytest.raises(InputError, match=message) as refused:
        read_trend_events(write(text))
    assert "\n" not in str(refused.value)


def test_missing_folder_and_foreign_bytes_are_refused(write, tmp_path):
    with pytest.raises(InputError, match="No such file"):
        read_trend_events(tmp_path / "nothing.csv")
    with pytest.raises(InputError, match="cannot be read"):
        read_trend_events(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        read_trend_events(write("time\n5,\xe4\n", encoding="latin-1"))
