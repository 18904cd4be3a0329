"""Bytes on the link: headers, second crossings, local names, hours, caches."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.demand import (
    REQUEST_BYTES,
    ack_factor,
    background_share,
    crossing,
    forward_factor,
    limit_bytes_per_day,
    mean_load_bps,
    service_bytes_per_day,
    service_open_frac,
    task_bytes_per_day,
    task_crossings,
)
from linkfit.site.hours import DayWindow, Hours
from linkfit.site.model import Background, Cache, PathLimits, Service, Site, SizeLaw, Task

TASK = Task(name="t", flow="out", size=SizeLaw(median_bytes=1e6), per_user_day=10.0)
SERVICE = Service(name="s", kind="web-site", n_users=4, tasks=(TASK,))
DAY = DayWindow(start_h=8, end_h=20)


def site(**edit):
    return Site(**{"name": "x", "services": (SERVICE,), **edit})


# common practice: bytes on the wire are 1.05 to 1.15 times the payload, tunnel included
@pytest.mark.parametrize("tunnel_bytes", [0.0, 60.0, 80.0])
def test_the_protocol_factor_is_what_the_trade_finds(tunnel_bytes):
    path = PathLimits(tunnel_overhead_bytes=tunnel_bytes)
    both = crossing(path, "out").factor("both")
    assert 1.05 <= both <= 1.15
    # IPv4 20, TCP 20 and timestamps 12 bytes in 1500 (RFC 791, 9293, 7323)
    assert forward_factor(path) == pytest.approx(1500 / (1448 - tunnel_bytes))
    assert ack_factor(path) == pytest.approx((52 + tunnel_bytes) / 2 / (1448 - tunnel_bytes))


def test_a_client_on_the_same_link_crosses_twice():
    once, again = task_crossings(site(path=PathLimits(same_link_share_frac=1.0)), SERVICE, TASK)
    assert again.up_factor == once.down_factor
    assert again.down_factor == once.up_factor
    assert again.factor("both") == once.factor("both")
    assert once.factor("up") + once.factor("down") == once.factor("both")


def test_a_local_name_keeps_the_same_link_off():
    path = PathLimits(same_link_share_frac=0.4)
    local = replace(SERVICE, local_name=True)
    per_day = task_bytes_per_day(site(path=path), local, TASK, "both")
    public = task_bytes_per_day(site(path=path), SERVICE, TASK, "both")
    nobody = task_bytes_per_day(site(), SERVICE, TASK, "both")
    assert per_day == pytest.approx(0.6 * nobody)
    assert public == pytest.approx(1.4 * nobody)


def test_a_day_by_hand():
    expected = 4 * 10 * (1e6 * 1500 / 1448 + REQUEST_BYTES / 2)
    assert task_bytes_per_day(site(), SERVICE, TASK, "up") == pytest.approx(expected)
    assert mean_load_bps(site(), "up") == pytest.approx(expected * 8 / 86400)
    hits = replace(TASK, cache=Cache(scope="browser", lifetime_s=86400.0, views_per_object_day=1.0))
    assert task_bytes_per_day(site(), SERVICE, hits, "up") == pytest.approx(expected / 2)


def test_people_shift_into_the_hours_and_machines_do_not():
    causes = (Background(name="b", bytes_per_day=86400.0, flow="out"),)
    always = site(services=(), background=causes)
    half = replace(always, hours=Hours(windows=(DAY,)))
    assert mean_load_bps(always, "up") == pytest.approx(8.0)
    assert mean_load_bps(half, "up") == pytest.approx(8.0)  # half as long, the same rate
    busy = site(hours=Hours(windows=(DAY,)))
    assert mean_load_bps(busy, "up") == pytest.approx(2 * mean_load_bps(site(), "up"))


def test_a_service_that_never_meets_the_hours_sends_nothing():
    night = replace(SERVICE, window=(DayWindow(start_h=22, end_h=4),))
    shut = site(hours=Hours(windows=(DAY,)), services=(night,))
    assert service_open_frac(shut, night) == 0
    assert service_bytes_per_day(shut, night, "both") == 0


def test_a_rate_limit_bounds_a_service():
    slow = replace(SERVICE, rate_limit_bps=8.0)
    assert limit_bytes_per_day(site(), slow, "up") == pytest.approx(86400.0)
    assert service_bytes_per_day(site(), slow, "up") == pytest.approx(86400.0)


@given(
    st.floats(0, 1), st.sampled_from(["out", "in", "both"]), st.sampled_from(["up", "down", "both"])
)
def test_a_local_name_never_adds(share, flow, counted):
    path = PathLimits(same_link_share_frac=share)
    task = replace(TASK, flow=flow)
    public = task_bytes_per_day(site(path=path), SERVICE, task, counted)
    local = task_bytes_per_day(site(path=path), replace(SERVICE, local_name=True), task, counted)
    assert local <= public * (1 + 1e-12)


def test_background_goes_its_way():
    out = Background(name="b", bytes_per_day=1.0, flow="out")
    both = Background(name="b", bytes_per_day=1.0, flow="both")
    assert [background_share(out, way) for way in ("up", "down", "both")] == [1, 0, 1]
    assert [background_share(both, way) for way in ("up", "down", "both")] == [0.5, 0.5, 1]


def test_bad_input_is_named_and_shown():
    with pytest.raises(InputError, match=r"direction: expected 'up' or 'down', got 'out'"):
        mean_load_bps(site(), "out")
