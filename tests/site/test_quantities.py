"""Texts with units as pydantic fields: what each takes, and its JSON Schema agrees."""

import re
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from linkfit.errors import InputError
from linkfit.site import quantities
from linkfit.site.quantities import parse_window


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("Rate", "512 kbit/s", 512e3),
        ("RateLimit", "3 Mbit/s", 3e6),
        ("Size", "3.5 MB", 3.5e6),
        ("Size", "1 GiB", 2**30),
        ("SizeOrZero", "0 B", 0),
        ("Duration", "18 ms", 0.018),
        ("DurationOrZero", "0 s", 0),
        ("Duration", "7 days", 604800),
        ("Energy", "0.64 kWh", 640),
        ("Power", "13 W", 13),
        ("PowerOrZero", "0 W", 0),
        ("TimeZone", "Europe/Lisbon", "Europe/Lisbon"),
        ("Day", date(2026, 7, 31), date(2026, 7, 31)),
        ("Label", "<b>", "<b>"),
    ],
)
def test_takes_text_and_holds_si(kind, text, value):
    adapter = TypeAdapter(getattr(quantities, kind))
    assert adapter.validate_python(text) == value
    pattern = adapter.json_schema().get("pattern")
    assert pattern is None or re.search(pattern, text)


@pytest.mark.parametrize(
    ("kind", "bad", "message"),
    [
        ("Rate", "0 bit/s", "expected more than 0, got '0 bit/s'; write it as '512 kbit/s'"),
        ("RateLimit", "0 bit/s", "expected more than 0, got '0 bit/s'; leave the key out"),
        ("Rate", 5, "expected a text with a number and a unit, got 5; write it as '512 kbit/s'"),
        ("Rate", True, "expected a text with a number and a unit, got true"),
        ("Size", "4 Mb", "expected a number and B"),
        ("Duration", "18", "expected a number and ms, s, min, h or d, got '18'"),
        ("Duration", "0 s", "expected more than 0"),
        ("Duration", "1e999 s", "expected a finite value, got '1e999 s'"),
        ("Energy", "50 Ah", "expected a number and Wh or kWh, got '50 Ah'"),
        ("Power", "", "expected a number and W, mW or kW, got ''"),
        ("TimeZone", "Mars/Olympus", "expected a known time zone, got 'Mars/Olympus'"),
        ("TimeZone", "../../etc/passwd", "expected a known time zone"),
        ("TimeZone", "", "expected a known time zone, got ''"),
        ("TimeZone", 1, "expected the name of a time zone, got 1"),
        ("Day", "2026-07-31", "expected a date, got '2026-07-31'"),
        ("Day", datetime(2026, 7, 31), "expected a date, got 2026-07-31T00:00:00"),
        ("Label", "  ", "expected a text that is not empty, got '  '"),
        ("Label", "x" * 201, "expected at most 200 characters, got 201"),
        ("Windows", [], "expected at least one part of the day, got none"),
    ],
)
def test_refuses_and_says_what_to_write(kind, bad, message):
    with pytest.raises(ValidationError, match=re.escape(message)):
        TypeAdapter(getattr(quantities, kind)).validate_python(bad)


@given(st.integers(0, 1439), st.integers(0, 1440))
def test_windows_run_from_minute_to_minute_also_past_midnight(start, end):
    text = f"{start // 60:02}:{start % 60:02}-{end // 60:02}:{end % 60:02}"
    if start == end:
        with pytest.raises(InputError, match="of zero length; for the whole day write"):
            parse_window(text)
        return
    window = parse_window(text)
    assert (window.start_h, window.end_h) == (start / 60, end / 60)
    assert window.length_h == pytest.approx(((end - start) % 1440 or 1440) / 60)


@pytest.mark.parametrize("text", ["06:30", "6-22", "06:60-07:00", "24:01-25:00", "a-b", "-", 6])
def test_windows_that_are_none(text):
    with pytest.raises(InputError, match=r"expected .*two times of day"):
        parse_window(text)


def test_one_window_is_a_list_of_one():
    adapter = TypeAdapter(quantities.Windows)
    assert adapter.validate_python("06:30-22:00") == adapter.validate_python(["6:30 – 22:00"])
