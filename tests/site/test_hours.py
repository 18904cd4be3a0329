"""Windows of the day, battery and panel check themselves."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.site.hours import DayWindow, Power


@given(st.floats(0, 24), st.floats(0, 24))
def test_a_window_and_its_complement_fill_the_day(start, end):
    if start == end:
        return
    window, rest = DayWindow(start_h=start, end_h=end), DayWindow(start_h=end, end_h=start)
    if {start, end} == {0, 24}:
        assert window.length_h == 24
    else:
        assert window.length_h + rest.length_h == pytest.approx(24)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: DayWindow(start_h=1, end_h=25), "end_h: expected an hour from 0 to 24, got 25"),
        (lambda: DayWindow(start_h=1, end_h=1), "hours: expected a start apart from the end"),
        (lambda: Power(battery_wh=1, load_w=0), "load: expected a finite number > 0, got 0"),
    ],
)
def test_wrong_values_are_named_and_shown(make, message):
    with pytest.raises(InputError, match=message):
        make()
