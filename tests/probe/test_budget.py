import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.probe.budget import WIRE_FACTOR, Budget, cost_bytes


def test_what_is_spent_is_no_longer_left():
    budget = Budget(limit_bytes=1e6)
    budget.spend(4e5)
    assert budget.left_bytes == 6e5
    budget.spend(9e5)
    assert budget.left_bytes == 0
    assert budget.payload_bytes() == 0


@given(st.floats(1, 1e12), st.floats(0, 1e12))
def test_a_payload_with_its_headers_never_exceeds_what_is_left(limit_bytes, spent_bytes):
    budget = Budget(limit_bytes=limit_bytes, spent_bytes=spent_bytes)
    assert budget.payload_bytes() * WIRE_FACTOR <= budget.left_bytes


def test_headers_of_tcp_fit_into_the_factor():
    # 1448 bytes of payload in a frame of 1514, an acknowledgement of 66 for every second one:
    # Ethernet II, RFC 791, RFC 9293 with the timestamps of RFC 7323, RFC 1122 section 4.2.3.2
    assert WIRE_FACTOR > (1514 + 66 / 2) / 1448


def test_ten_seconds_cost_a_megabyte_and_a_quarter_for_each_megabit():
    payload = cost_bytes(1e6, 10) - cost_bytes(0, 10)
    assert payload / WIRE_FACTOR == pytest.approx(1.25e6)  # arithmetic: 1e6 x 10 / 8


@pytest.mark.parametrize("wrong", [0, -1, float("inf"), float("nan")])
def test_a_wrong_limit_is_named(wrong):
    with pytest.raises(InputError, match="budget: expected a finite number > 0"):
        Budget(limit_bytes=wrong)


def test_nothing_is_spent_backwards():
    with pytest.raises(InputError, match=r"n_bytes: .* got -5"):
        Budget(limit_bytes=1e6).spend(-5)
