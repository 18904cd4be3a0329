import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.ingest.log_lines import LOG_LINE, MAX_LINE_BYTES, log_lines, log_time_s


def test_the_moment_of_the_formats_own_example():
    # 10 October 2000, 13:55:36, seven hours behind UTC: by hand from the day number 11240
    assert log_time_s(b"10/Oct/2000:13:55:36 -0700") == 11240 * 86400 + 20 * 3600 + 55 * 60 + 36


@pytest.mark.parametrize(
    "text",
    [b"", b"10/Okt/2000:13:55:36 -0700", b"31/Feb/2026:00:00:00 +0000", b"10/Oct/2000 13:55:36"],
)
def test_what_is_no_moment(text):
    assert log_time_s(text) is None


def test_a_line_ends_where_it_ends_and_never_beyond_the_limit():
    text = b"a\r\n" + b"b" * (2 * MAX_LINE_BYTES) + b"\nc"
    lines = list(log_lines(io.BytesIO(text)))
    assert lines == [b"a", b"b" * MAX_LINE_BYTES, b"c"]


@given(st.binary(max_size=400))
def test_no_bytes_break_it(text):
    for line in log_lines(io.BytesIO(text)):
        match = LOG_LINE.match(line)
        assert match is None or match["status"].isdigit()
