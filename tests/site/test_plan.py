"""The data plan checks itself."""

from dataclasses import replace

import pytest

from linkfit.errors import InputError
from linkfit.site.plan import Plan


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Plan(cap_bytes=0), "cap: expected a finite number > 0, got 0"),
        (lambda: Plan(cycle_day=32), "cycle_day: expected 1 to 31, got 32"),
        (lambda: Plan(throttle_bps=1, price_per_gb=1), "after_cap: expected a rate, 'stop' or"),
        (lambda: Plan(tether_bytes=0), "tether: expected a finite number > 0, got 0"),
        (lambda: Plan(round_up_bytes=-1), "round_up: expected a finite number > 0, got -1"),
        (lambda: Plan(carry_over_bytes=-1), "carry_over: expected a finite number >= 0, got -1"),
        (lambda: Plan(sessions_per_day=-1), "sessions_per_day: expected .* >= 0, got -1"),
    ],
)
def test_wrong_values_are_named_and_shown(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_a_smaller_tether_allowance_is_the_cap_whatever_the_plan():
    plan = Plan(cap_bytes=60e9, tether_bytes=30e9)
    assert plan.cap_bytes == 30e9
    assert replace(plan, cap_bytes=100e9).cap_bytes == 30e9
    assert replace(plan, cap_bytes=10e9).cap_bytes == 10e9
    assert Plan(tether_bytes=30e9).cap_bytes == 30e9


def test_a_plan_stops_unless_it_throttles_or_sells_more_or_has_no_cap():
    assert Plan(cap_bytes=1e9).stops
    assert not Plan(cap_bytes=1e9, throttle_bps=1e5).stops
    assert not Plan(cap_bytes=1e9, price_per_gb=4.0).stops
    assert not Plan().stops
