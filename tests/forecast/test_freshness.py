"""RFC 9111: age and freshness, against its formulas and an example computed by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.freshness import (
    LARGEST_DELTA_S,
    current_age_s,
    delta_seconds,
    heuristic_lifetime_s,
    is_fresh,
)


def test_the_age_of_a_copy():
    # RFC 9111 section 4.2.3 by hand: apparent 4, corrected 3 + 2 = 5, and 46 since it came
    age_s = current_age_s(age_s=3, date_s=100, request_s=102, response_s=104, now_s=150)
    assert age_s == 51


def test_a_clock_that_runs_ahead_makes_no_copy_younger_than_its_age_field():
    assert current_age_s(age_s=3, date_s=500, request_s=102, response_s=104, now_s=104) == 5


@given(st.floats(0, 1e6), st.floats(0, 1e6), st.floats(0, 1e3), st.floats(0, 1e6))
def test_age_grows_with_the_clock(age_s, date_s, delay_s, later_s):
    def age(now_s):
        return current_age_s(age_s=age_s, date_s=date_s, request_s=0, response_s=delay_s,
                             now_s=now_s)  # fmt: skip

    assert age(delay_s + later_s) == pytest.approx(age(delay_s) + later_s)
    assert age(delay_s) >= age_s


def test_fresh_is_strictly_younger_than_the_lifetime():
    # RFC 9111 section 4.2: response_is_fresh = (freshness_lifetime > current_age)
    assert is_fresh(60, 59)
    assert not is_fresh(60, 60)


def test_a_tenth_of_the_time_unchanged():
    # RFC 9111 section 4.2.2: a typical setting is 10 %: ten days unchanged are a day
    assert heuristic_lifetime_s(date_s=864_000, last_modified_s=0) == 86_400
    assert heuristic_lifetime_s(date_s=0, last_modified_s=10) == 0


@pytest.mark.parametrize(
    ("text", "delta_s"),
    [("0", 0), ("3600", 3600), ("0000000000060", 60), ("2147483647", 2147483647),
     ("2147483648", 2**31), ("99999999999999999999", 2**31)],
)  # fmt: skip
def test_delta_seconds_too_large_become_two_to_the_31(text, delta_s):
    # RFC 9111 section 1.2.2
    assert delta_seconds(text) == delta_s
    assert delta_s <= LARGEST_DELTA_S


@pytest.mark.parametrize("text", ["", "-1", "1.5", "60s", " 60", "\u0663"])
def test_delta_seconds_are_digits(text):
    with pytest.raises(InputError, match=r"delta-seconds: expected digits only, got"):
        delta_seconds(text)


def test_moments_out_of_order_are_refused():
    with pytest.raises(InputError, match=r"expected request <= response <= now, got 5, 4, 9"):
        current_age_s(age_s=0, date_s=0, request_s=5, response_s=4, now_s=9)
