"""What a site asks of each direction: directions, caches, the busy hour."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.forecast import load
from linkfit.forecast.demand import REQUEST_BYTES
from linkfit.site.hours import DayWindow
from linkfit.site.model import Cache, PathLimits, Service, Site, SizeLaw, Task

PLAIN = PathLimits()


def task(**changes):
    values = {"name": "t", "flow": "out", "size": SizeLaw(median_bytes=1e6), "per_user_day": 10.0}
    return Task(**{**values, **changes})


def service(*tasks, **changes):
    return Service(**{"name": "s", "kind": "x", "n_users": 4, "tasks": tasks, **changes})


# design: out is link up, in is link down, a conversation is both
@pytest.mark.parametrize(
    ("flow", "expected"), [("out", ("up",)), ("in", ("down",)), ("both", ("up", "down"))]
)
def test_flows_are_said_from_the_server(flow, expected):
    assert load.directions(task(flow=flow)) == expected


def test_one_busy_hour_by_hand():
    flow = load.flow_class(task(), service(task()), PLAIN, 4)
    # 4 users, 10 a day, 12 % of them in one hour
    assert flow.arrivals_per_s == pytest.approx(4 * 10 * 0.12 / 3600)
    # 1500 bytes on the link carry 1448 of payload (IPv4, TCP with timestamps)
    assert flow.mean_bits == pytest.approx(8 * (1e6 * 1500 / 1448 + REQUEST_BYTES))
    assert flow.spread == pytest.approx(1.0)


def test_many_requests_have_the_spread_of_their_sum():
    page = task(n_requests=60, size=SizeLaw(median_bytes=8e3, spread=1.8))
    flow = load.flow_class(page, service(page), PLAIN, 1)
    variation = math.sqrt(math.expm1(math.log(1.8) ** 2) / 60)
    assert math.sqrt(math.expm1(math.log(flow.spread) ** 2)) == pytest.approx(variation)


def test_clients_on_the_same_link_load_both_directions_unless_they_have_a_local_name():
    path = PathLimits(same_link_share_frac=0.4)
    public = service(task())
    up = load.service_classes(public, path, "up", 4)[0]
    down = load.service_classes(public, path, "down", 4)[0]
    assert down.arrivals_per_s == pytest.approx(0.4 * up.arrivals_per_s)
    local = service(task(), local_name=True)
    assert load.service_classes(local, path, "up", 4)[0].arrivals_per_s == pytest.approx(
        0.6 * up.arrivals_per_s
    )
    assert load.service_classes(local, path, "down", 4) == ()


def test_streams_load_by_littles_law():
    call = task(flow="both", size=SizeLaw(median_bytes=6e6), duration_s=900.0, live=True)
    rate = load.stream_rate_bps(call, PLAIN)
    assert rate == pytest.approx(6e6 * 8 * 1500 / 1448 / 900)
    expected = 4 * 10 * 0.12 / 3600 * 900 * rate
    assert load.stream_load_bps(service(call), PLAIN, "up") == pytest.approx(expected)
    assert load.service_classes(service(call), PLAIN, "up", 4) == ()


def test_a_service_with_its_own_window_keeps_out_of_the_busy_hour():
    night = service(task(), window=(DayWindow(start_h=1, end_h=5),))
    assert load.site_classes(Site(name="x", services=(night,)), "up") == ()


def test_what_moves_next_to_nothing_holds_nobody_back():
    echo = task(flow="both", size=SizeLaw(median_bytes=150.0))
    assert load.service_classes(service(echo), PLAIN, "up", 4) == ()


@given(st.floats(0, 30), st.floats(0.01, 5))
def test_a_longer_cache_lifetime_never_adds_load(days, views):
    def bits_per_s(lifetime_s):
        cache = Cache(scope="browser", lifetime_s=lifetime_s, views_per_object_day=views)
        page = task(n_requests=60, cache=cache)
        return load.flow_class(page, service(page), PLAIN, 4).load_bps

    assert bits_per_s(days * 86400 * 2) <= bits_per_s(days * 86400) * (1 + 1e-9)


def test_what_the_server_opens_itself_has_nobody_on_the_same_link():
    path = PathLimits(same_link_share_frac=0.4)
    backup = task(through_entry=False)
    assert load.same_link_frac(backup, service(backup), path) == 0
    assert load.service_classes(service(backup), path, "down", 4) == ()
    local = service(backup, local_name=True)
    assert load.away_frac(backup, local, path) == 1


def test_low_priority_holds_for_what_the_site_sends():
    both = Task(name="t", flow="both", size=SizeLaw(median_bytes=1e6))
    low = Service(name="s", kind="x", n_users=3, tasks=(both,), priority="low")
    site = Site(name="site", services=(low,))
    assert [flow.low_priority for flow in load.site_classes(site, "up")] == [True]
    assert [flow.low_priority for flow in load.site_classes(site, "down")] == [False]
