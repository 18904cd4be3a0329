import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.report.interval_bar import BarScale, bar_scale, interval_bar

TEN = BarScale(low=1.0, high=1e10, width=10)  # a letter a power of ten


def test_a_bar_worked_by_hand():
    assert interval_bar(TEN, 5e1, 5e3, 5e5, 5e8) == ".--o--..!."


def test_the_target_wins_over_the_interval():
    assert interval_bar(TEN, 5e1, 5e3, 5e5, 5e4) == ".--o!-...."


def test_ends_beyond_the_scale_point_outwards():
    assert interval_bar(TEN, 0.1, 5e3, None) == "<--o----->"
    assert interval_bar(TEN, None, None, None) == ".........>"


def test_no_number_no_scale():
    assert bar_scale([None, 0.0, math.inf]) is None


def test_equal_values_have_a_scale():
    scale = bar_scale([5.0, 5.0])
    assert interval_bar(scale, 5.0, 5.0, 5.0).count("o") == 1


positive = st.floats(1e-3, 1e9)


@given(positive, positive, positive, st.one_of(st.none(), positive), st.integers(4, 60))
def test_always_ascii_of_its_width(a, b, c, target, width):
    low, middle, high = sorted((a, b, c))
    scale = bar_scale([low, middle, high, target], width=width)
    bar = interval_bar(scale, low, middle, high, target)
    assert len(bar) == width
    assert set(bar) <= set(".-o!<>")
    assert ("!" in bar) == (target is not None)


@pytest.mark.parametrize("value", [1.0, 1e10])
def test_the_ends_of_the_scale_are_on_it(value):
    assert 0 <= TEN.place(value) < TEN.width
