import pytest

from linkfit.cli.link_input import trace_input
from linkfit.cli.moments import hour_of_day, recent_trace
from linkfit.errors import InputError


@pytest.mark.parametrize(
    ("text", "hour"),
    [("20:00", 20.0), ("7:30", 7.5), ("20", 20.0), ("24:00", 24.0), (" 0:15 ", 0.25)],
)
def test_an_hour_is_read(text, hour):
    assert hour_of_day(text) == hour


@pytest.mark.parametrize("text", ["25:00", "24:01", "8 pm", "12:60", "-1", ""])
def test_what_is_no_hour_is_named(text):
    with pytest.raises(InputError, match=f"--at: expected an hour .* got '{text}'"):
        hour_of_day(text)


def test_one_standard_input_cannot_be_two_files():
    files = trace_input(["-"], None, None, None, "UTC")
    with pytest.raises(InputError, match=r"--recent: expected a file, .* got '-'"):
        recent_trace("-", files)


def test_the_last_minutes_are_read_as_the_link_is(trace_file):
    files = trace_input([str(trace_file)], None, None, None, "UTC")
    assert len(recent_trace(str(trace_file), files).throughput) == 240
