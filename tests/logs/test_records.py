import pytest

from analytics.errors import InputError
from analytics.logs.files import read_file
from analytics.logs.records import split_records
from analytics.logs.settings import Settings

GOOD = "a,b\n1,2\n3,4\n"


def split(text: str, **options):
    return split_records(text.splitlines(keepends=True), "x.csv", **options)


def cells(raw):
    return [list(row) for row in zip(*(column.to_pylist() for column in raw.columns), strict=True)]


def read_bytes(tmp_path, data: bytes, **settings):
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    return read_file(path, Settings(**settings), sheets=[], known=len)


def test_rows_keep_their_lines_and_their_raw_text():
    raw = split('a,b\n\n1,"two\nlines"\n\n 3 , 4 \n')

    assert cells(raw) == [["1", "two\nlines"], [" 3 ", " 4 "]]
    assert raw.lines.tolist() == [3, 6]
    assert raw.raw(0) == '1,"two\nlines"'
    assert raw.raw(1) == " 3 , 4 "


def test_a_stray_quote_costs_its_own_line_only():
    raw = split('a,b\n1,2\n"3,4\n5,6\n7,"x"y\n8,9\n')

    assert cells(raw) == [["1", "2"], ["5", "6"], ["8", "9"]]
    assert [(item.line, item.raw) for item in raw.broken] == [(3, '"3,4'), (5, '7,"x"y')]


def test_ragged_rows_are_broken_but_a_sheets_empty_columns_are_not():
    raw = split("a,b\n1\n1,2,3\n1,2,,\n,,\n")

    assert cells(raw) == [["1", "2"]]
    assert [item.line for item in raw.broken] == [2, 3]


@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_the_delimiter_that_gives_known_columns_is_found(mark):
    text = GOOD.replace(",", mark)
    raw = split(text, known=lambda header: sum(cell in ("a", "b") for cell in header))

    assert raw.header == ("a", "b")
    assert cells(raw) == [["1", "2"], ["3", "4"]]


def test_a_declared_separator_line_is_obeyed():
    assert split("sep=;\na;b,c\n1;2\n").header == ("a", "b,c")


@pytest.mark.parametrize(
    ("encoding", "declared"),
    [
        ("utf-8", None),
        ("utf-8-sig", None),
        ("utf-16", None),
        ("utf-16-le", "utf-16"),
        ("cp1252", None),
        ("cp1252", "cp1252"),
        ("utf-8", "utf-8"),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends_give_the_same_rows(tmp_path, encoding, declared, end):
    data = GOOD.replace("2", "Größe").replace("\n", end).encode(encoding)
    raw = read_bytes(tmp_path, data, encoding=declared)

    assert cells(raw) == [["1", "Größe"], ["3", "4"]]
    assert raw.lines.tolist() == [2, 3]
    assert bool(raw.notes) == (encoding == "cp1252" and declared is None)


def test_separators_inside_text_that_look_like_line_ends_are_kept(tmp_path):
    raw = read_bytes(tmp_path, "a,b\n1,x\u2028y\x0bz\x85\n".encode())

    assert cells(raw) == [["1", "x\u2028y\x0bz\x85"]]


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        (b"\x81\x8d", "is no cp1252 text"),
        (b"\xff\xfea", "is no utf-16 text"),
        (b'"a,b\n1,2\n', "whose quotes do not close"),
        (b",".join(b"c%d" % n for n in range(3000)), "has 3000 columns"),
    ],
)
def test_files_without_a_header_are_refused_in_one_line(tmp_path, data, match):
    with pytest.raises(InputError, match=match) as caught:
        read_bytes(tmp_path, data)
    assert "\n" not in str(caught.value)


def test_a_declared_encoding_is_never_second_guessed(tmp_path):
    with pytest.raises(InputError, match="is no utf-8-sig text"):
        read_bytes(tmp_path, b"a,b\n\xe4,1\n", encoding="utf-8")
