"""Access logs in Common Log Format: what is read, what is left out, what is never kept."""

import io
import re
import sys
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from linkfit.errors import TraceError
from linkfit.ingest.access_log import read_access_log
from linkfit.ingest.log_lines import MAX_LINE_BYTES

EXAMPLE = '127.0.0.1 - frank [10/Oct/2000:13:55:36 -0700] "GET /picture.gif HTTP/1.0" 200 2326'


def line(path="/a", host="198.51.100.7", when="10/Oct/2000:13:55:36 -0700", status=200, size=100,
         method="GET", tail=""):  # fmt: skip
    return f'{host} - - [{when}] "{method} {path} HTTP/1.1" {status} {size}{tail}'


@pytest.fixture
def read(tmp_path):
    def read(*lines, end="\n"):
        file = tmp_path / "access.log"
        texts = (text if isinstance(text, bytes) else text.encode() for text in lines)
        file.write_bytes(b"".join(text + end.encode() for text in texts))
        return read_access_log(file)

    return read


def test_the_example_of_the_format_is_read(read):
    log = read(EXAMPLE, EXAMPLE.replace("13:55:36 -0700", "21:55:36 +0000"))
    # 13:55:36 at UTC-7 is 20:55:36 UTC
    assert list(log.times_s) == [0.0, 3600.0]
    assert list(log.object_index) == list(log.client_index) == [0, 0]
    assert list(log.sizes_bytes) == [2326, 2326]
    moment = datetime(2000, 10, 10, 20, 55, 36, tzinfo=UTC)
    assert moment.hour - 13 == 7


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_combined_lines_and_names_with_blanks_are_read(read, end):
    log = read(
        line(tail=' "-" "a browser \\"quoted\\""'),
        line().replace(" - - ", ' - "a user" '),
        line(host="2001:db8::7"),
        end=end,
    )  # fmt: skip
    assert log.n_requests == 3
    assert log.n_unread == 0


def test_what_no_cache_answers_is_counted_and_left_out(read):
    log = read(
        line(), line(), line(method="POST"), line(status=404), line(status=302), "", "no log"
    )
    assert (log.n_requests, log.n_others, log.n_unread, log.n_lines) == (2, 3, 1, 7)


def test_a_copy_that_is_still_good_counts_with_the_size_of_the_object(read):
    log = read(line(size=5000), line(status=304, size="-"), line(status=304, size=180))
    assert list(log.sizes_bytes) == [5000, 5000, 5000]


def test_requests_are_put_in_order_of_time(read):
    log = read(line("/late", when="10/Oct/2000:14:00:00 -0700"), line("/early"))
    assert list(log.times_s) == [0.0, 264.0]
    assert list(log.object_index) == [1, 0]


def test_no_address_and_no_path_is_kept(read):
    log = read(line("/private/token-abcdef", host="203.0.113.99"), line("/private/token-abcdef"))
    kept = repr([getattr(log, name) for name in type(log).__slots__])
    assert not re.search(r"token|203\.0|198\.51", kept)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([line()], r"at least 2 answered GET requests, got 1 in 1 lines \(0 not in that format\)"),
        (["time,rate", "1,2"], r"got 0 in 2 lines \(2 not in that format\)"),
        ([b"\x1f\x8b\x08 packed"], r"expected text, got a packed file; unpack it first"),
        ([], r"got 0 in 0 lines"),
    ],
)
def test_what_is_no_log_says_what_is(read, lines, message):
    with pytest.raises(TraceError, match=message):
        read(*lines)


def test_a_missing_file_says_so(tmp_path):
    with pytest.raises(TraceError, match=r"expected a readable access log, got: No such file"):
        read_access_log(tmp_path / "none.log")


def test_hostile_lines_are_left_out_and_the_rest_is_read(read):
    log = read(
        line(), b"\xff\xfe\x00" * 50, b"A" * (3 * MAX_LINE_BYTES),
        line(when="99/Oct/2000:13:55:36 -0700"),
        line(when="10/Oct/2000:13:55:36 -9900"), line(when="29/Feb/2001:13:55:36 +0000"),
        line(size="9" * 15), line(size="9" * 16), line("/" + "x" * 9000), line(),
    )  # fmt: skip
    assert log.n_requests == 3 + 1  # an offset beyond a day is taken as none
    assert np.isfinite(log.sizes_bytes).all()


def test_standard_input_is_read_as_well(monkeypatch):
    text = f"{EXAMPLE}\n{EXAMPLE}\n".encode()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text)))
    assert read_access_log("-").n_requests == 2


def test_a_log_longer_than_can_be_kept_is_read_to_there(read, monkeypatch):
    monkeypatch.setattr("linkfit.ingest.access_log.MAX_REQUESTS", 3)
    log = read(*[line()] * 9)
    assert (log.n_requests, log.n_lines) == (3, 3)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.binary(max_size=200) | st.text(max_size=80).map(str.encode), max_size=6))
def test_any_bytes_end_in_a_log_or_in_one_error(tmp_path_factory, lines):
    file = tmp_path_factory.mktemp("log") / "a.log"
    file.write_bytes(b"\n".join([*lines, line().encode(), line().encode()]))
    try:
        log = read_access_log(file)
    except TraceError as error:
        assert "packed" in str(error)  # noqa: PT017 -- either outcome is right
    else:
        assert log.n_requests >= 2
