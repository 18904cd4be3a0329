import pytest

from linkfit.errors import InputError
from linkfit.probe.session_plan import SessionPlan


def plan(**given):
    return SessionPlan(**{"host": "camp.invalid", "budget_bytes": 1e7, **given})


def told(wanted):
    return [(o.is_up, o.n_streams, o.udp_rate_bps) for o in wanted.orders()]


def test_up_and_down_take_turns():
    assert told(plan(n_rounds=2)) == [(True, 1, None), (False, 1, None)] * 2


def test_each_number_of_streams_and_datagrams_once():
    wanted = plan(n_streams=(1, 4), udp_rate_bps=1e6, ways="up", n_rounds=2, seconds=3)
    assert told(wanted) == [
        (True, 1, None), (True, 4, None), (True, 1, 1e6), (True, 1, None), (True, 4, None),
    ]  # fmt: skip
    assert {o.duration_s for o in wanted.orders()} == {3}


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"budget_bytes": 1e5}, "budget: expected at least 500 kB.*got 100000 bytes"),
        ({"budget_bytes": -1}, "budget: .* got -1"), ({"ways": "out"}, "ways: .* got 'out'"),
        ({"seconds": 0}, "seconds: .* got 0"), ({"n_rounds": 0}, "rounds: .* got 0"),
        ({"n_streams": ()}, "streams: .* got none"), ({"udp_rate_bps": 0}, "udp_rate: .* got 0"),
        ({"nat_timer_s": 0}, "nat_timer_up_to: .* got 0"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_named(given, says):
    with pytest.raises(InputError, match=says):
        plan(**given)
