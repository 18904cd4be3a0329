import pytest

from linkfit.errors import TraceError
from linkfit.ingest.sniff import (
    binary_kind,
    find_layout,
    looks_like_delivery,
    looks_like_json_lines,
)

ROWS = "".join(f"2026-01-01T00:00:{i:02d}Z,{i}.5\n" for i in range(20))


@pytest.mark.parametrize(("text", "delimiter", "decimal"), [
    ("time,up\n" + ROWS, ",", "."),
    ("time\tup\n" + ROWS.replace(",", "\t"), "\t", "."),
    ("time|up\n" + ROWS.replace(",", "|"), "|", "."),
    ("time;up\n" + ROWS.replace(",", ";").replace(".", ","), ";", ","),
])  # fmt: skip
def test_delimiter_and_decimal_sign(text, delimiter, decimal):
    layout = find_layout(text, "f")
    assert (layout.delimiter, layout.decimal) == (delimiter, decimal)
    assert layout.names == ("time", "up")
    assert (layout.n_columns, layout.first_row) == (2, 2)


def test_notes_before_the_header_are_passed_over():
    layout = find_layout("# taken at the ridge, north\n\ntime,up\n" + ROWS, "f")
    assert layout.names == ("time", "up")
    assert layout.first_row == 4


def test_a_table_without_header_has_no_names():
    layout = find_layout("9.6,0.46,0.92,\n19.6,0.51,0.92,\n", "f")
    assert layout.names == ()
    assert (layout.n_columns, layout.first_row) == (4, 1)


def test_a_quoted_delimiter_does_not_cut():
    layout = find_layout('time,"up, measured"\n1,2\n2,3\n', "f")
    assert layout.names == ("time", "up, measured")


@pytest.mark.parametrize("text", ["The quick brown fox\njumps over\nthe dog\n", "# only notes\n"])
def test_prose_is_no_table(text):
    with pytest.raises(TraceError, match=r"f(:1)?: expected (a table|rows of measurements)"):
        find_layout(text, "f")


@pytest.mark.parametrize(("text", "is_delivery"), [
    ("0\n0\n5\n9\n", True), ("637\n647\n", True), ("5\n5\n5\n", False), ("9\n3\n7\n1\n", False),
    ("1.5\n2\n", False), ("rate\n1\n2\n", False), ("1,2\n2,3\n", False),
    ("7\n", False), ("", False),
])  # fmt: skip
def test_delivery_times_are_whole_numbers_that_rise(text, is_delivery):
    assert looks_like_delivery(text) is is_delivery


@pytest.mark.parametrize(("text", "is_records"), [
    ('{"a": 1}\n{"a": 2}\n', True), ('[{"a": 1}]', True), ('{\n "a": 1\n}', False),
    ("[1, 2]", False), ("a,b\n", False), ("", False),
])  # fmt: skip
def test_json_records(text, is_records):
    assert looks_like_json_lines(text) is is_records


def test_binary_formats_are_known_by_their_first_bytes():
    assert binary_kind(b"PAR1xxxx") == "parquet"
    assert binary_kind(b"SQLite format 3\0") == "an SQLite database"
    assert binary_kind(b"time,up") is None
