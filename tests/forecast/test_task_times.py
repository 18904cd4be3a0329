"""Times of tasks in the busy hour: what they are made of, and the slower of two directions."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.company import Company
from linkfit.forecast.load import StreamClass
from linkfit.forecast.sharing import FlowClass
from linkfit.forecast.task_times import route_of, stream_draws, task_draws
from linkfit.ingest.trace import LatencySamples, Source, Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import PathLimits, Service, SizeLaw, Task

RTT_S = 0.05
N = 200


def probes(rtt_s, n=30, *, loaded=False):
    """So many round trips of the same length that their spread is known to be none."""
    samples = LatencySamples(
        time_s=np.arange(n), rtt_s=np.full(n, rtt_s), spread_s=np.zeros(n), n_probes=np.ones(n),
        n_lost=np.zeros(n), loaded=np.full(n, loaded), source=np.zeros(n),
    )  # fmt: skip
    return Trace(sources=(Source(name="probes", format="test", has_clock=False),), latency=samples)


@pytest.fixture(scope="module")
def link():
    """A link whose round trip is always 50 ms; its capacity is given by each test."""
    trace = Trace.merge(
        [
            Trace.from_rates(np.full(900, 10e6), direction="up"),
            Trace.from_rates(np.full(900, 10e6), direction="down"),
            probes(RTT_S),
        ]
    )
    return fit_link(trace)


def films(n_running, rate_bps, n_sources, name="films", duration_s=120.0):
    return StreamClass(
        name=name, n_running=n_running, rate_bps=rate_bps, duration_s=duration_s,
        n_sources=n_sources,
    )  # fmt: skip


def hour(link, *, up_bps=10e6, down_bps=10e6, up=(), down=(), stream_bps=0.0, company=None):
    # so many small ones that their number hardly differs from its mean
    streams = (films(stream_bps / 1e3, 1e3, 10**9),) if stream_bps else ()
    paths = {
        "up": CapacityPaths.from_rates(np.full(3600, up_bps)),
        "down": CapacityPaths.from_rates(np.full(3600, down_bps)),
    }
    return BusyHour(
        link=link,
        paths=paths,
        classes={"up": up, "down": down},
        streams={"up": streams, "down": streams},
        company=company,
    )


def task(**changes):
    values = {
        "name": "t", "flow": "out", "size": SizeLaw(median_bytes=5e6), "fresh_connection": False,
    }  # fmt: skip
    return Task(**{**values, **changes})


def service(one, **changes):
    return Service(**{"name": "s", "kind": "x", "n_users": 1, "tasks": (one,), **changes})


def times(one, busy, path=None, **changes):
    return task_draws(
        one, service(one, **changes), path or PathLimits(), busy,
        rng=np.random.default_rng(7), n_probes=N,
    )  # fmt: skip


def test_alone_on_a_constant_link_it_is_bytes_over_rate_and_some_round_trips(link):
    draws = times(task(), hour(link))
    wire_s = 5e6 * 8 * 1500 / 1448 / 10e6
    assert (draws.times_s > wire_s).all()
    assert (draws.times_s < wire_s + 12 * RTT_S).all()
    assert (draws.added_s == 0).all()
    parts = draws.forecast().parts
    assert sum(parts.values()) == pytest.approx(float(np.median(draws.times_s)), rel=0.05)


def test_others_add_what_processor_sharing_says(link):
    # M/G/1-PS: E[T(x)] = x / (1 - rho) (Kleinrock, Queueing Systems vol. 2, section 4.4)
    others = (FlowClass(name="o", arrivals_per_s=2.5, median_bits=2e6),)  # rho = 0.5
    alone = times(task(), hour(link)).times_s
    shared = times(task(), hour(link, up=others))
    fluid_s = 5e6 * 8 * 1500 / 1448 / 10e6
    added = shared.added_s
    assert abs(added.mean() - fluid_s) < 5 * added.std() / np.sqrt(N)
    assert shared.times_s.mean() > alone.mean()


def test_what_outlasts_the_busy_hour_is_met_by_the_load_of_an_even_one(link):
    # 9 of 10 Mbit/s taken in the busy hour, 9 x 1 / (24 x 0.12) of them after it
    big = task(size=SizeLaw(median_bytes=1.8e9))
    draws = times(big, hour(link, stream_bps=9e6))
    wire_bits = 1.8e9 * 8 * 1500 / 1448
    after_bps = 10e6 - 9e6 / (24 * 0.12)
    expected_s = 3600.0 + (wire_bits - 3600.0 * 1e6) / after_bps
    assert_allclose(draws.times_s, expected_s, rtol=0.01)
    assert (draws.added_s == 0).all()
    # asked for more than the link carries all day long, a twentieth is left at any hour
    assert_allclose(times(big, hour(link, stream_bps=90e6)).times_s, wire_bits / 0.5e6, rtol=0.01)


def test_clients_on_the_same_link_wait_for_the_slower_direction(link):
    path = PathLimits(same_link_share_frac=0.5)
    draws = times(task(), hour(link, up_bps=20e6, down_bps=2e6), path)
    slow = draws.times_s > 5e6 * 8 / 2e6
    assert abs(slow.mean() - 0.5) < 5 * np.sqrt(0.25 / N)
    local = times(task(), hour(link, up_bps=20e6, down_bps=2e6), path, local_name=True)
    assert (local.times_s < 5e6 * 8 / 2e6).all()


def test_a_conversation_takes_the_slower_direction(link):
    both = times(task(flow="both"), hour(link, up_bps=20e6, down_bps=2e6))
    down = times(task(flow="in"), hour(link, up_bps=20e6, down_bps=2e6))
    assert_allclose(both.times_s.min(), down.times_s.min(), rtol=1e-6)


def test_a_new_connection_costs_two_round_trips_more(link):
    standing = times(task(size=SizeLaw(median_bytes=1e3)), hour(link)).times_s
    fresh = times(task(size=SizeLaw(median_bytes=1e3), fresh_connection=True), hour(link)).times_s
    # TCP one, TLS 1.3 one (RFC 8446 section 2)
    assert_allclose(fresh - standing, 2 * RTT_S, atol=5e-3)


def test_the_relay_adds_its_round_trip_only_where_there_is_one(link):
    direct = route_of(task(), service(task()), PathLimits(relay_rtt_s=0.1))
    relay = route_of(task(), service(task()), PathLimits(relay_rtt_s=0.1, entry="relay"))
    assert direct.relay_rtt_s == 0
    assert relay.relay_rtt_s == 0.1


def test_the_lower_of_remote_rate_and_service_limit_holds(link):
    one = task(remote_rate_bps=3e6)
    assert route_of(one, service(one, rate_limit_bps=2e6), PathLimits()).remote_rate_bps == 2e6
    assert route_of(one, service(one), PathLimits()).remote_rate_bps == 3e6


def test_one_ping_leaves_a_call_wide_and_many_probes_do_not():
    call = task(
        flow="both", size=SizeLaw(median_bytes=6e6), duration_s=900.0, live=True, target_s=0.4
    )
    others = (FlowClass(name="o", arrivals_per_s=1.0, median_bits=2e6),)
    one = fit_link(Trace.from_quick_numbers(up_bps=10e6, down_bps=10e6, rtt_s=RTT_S))
    rates = Trace.from_quick_numbers(up_bps=10e6, down_bps=10e6)
    measured = fit_link(Trace.merge([rates, probes(RTT_S, 300), probes(0.2, 300, loaded=True)]))
    worlds = np.repeat(np.arange(20), 10)
    paths = {
        d: CapacityPaths.from_rates(np.full((200, 3600), 10e6), world=worlds)
        for d in ("up", "down")
    }
    late = []
    for known in (one, measured):
        busy = replace(hour(known, up=others, down=others), paths=paths)
        draws = task_draws(
            call, service(call), PathLimits(), busy, rng=np.random.default_rng(2), n_probes=400
        )
        low_s, high_s = draws.forecast().quantile_interval(0.95)
        late.append(high_s / low_s)
        assert np.unique(draws.world).size == 20
    assert late[0] > 1.3 * late[1]


def test_a_stream_is_not_in_its_own_way(link):
    film = task(size=SizeLaw(median_bytes=60e6), duration_s=120.0)
    rate = 60e6 * 8 * 1500 / 1448 / 120
    rtts = np.full(N, RTT_S)

    def waits_s(n_users):
        own = films(0.5 * n_users, rate, n_users, name="s: t")
        busy = hour(link, company=Company(N, 1))
        busy = replace(busy, streams={"up": (own,), "down": ()})
        return stream_draws(
            film, service(film, n_users=n_users), PathLimits(), busy, "up", rtts_s=rtts,
            rng=np.random.default_rng(1),
        ).times_s  # fmt: skip

    # 6 s of it at 10 Mbit/s, and three round trips
    free_s = 6 * rate / 10e6 + 3 * RTT_S
    assert_allclose(waits_s(1), free_s, rtol=1e-6)
    # of the other one's watching half the time, by Poisson: nobody in exp(-1/2) of the runs
    one_more = waits_s(2)
    free = np.isclose(one_more, free_s)
    assert abs(free.mean() - np.exp(-0.5)) < 5 * np.sqrt(0.25 / N)
    assert_allclose(one_more[~free], 6 * rate / (10e6 - rate) + 3 * RTT_S, rtol=1e-6)
    assert (waits_s(9) >= one_more).all()


def test_a_stream_now_and_then_is_felt_by_those_who_meet_it_and_by_nobody_else(link):
    # one of 8 of 10 Mbit/s a tenth of the time, which shares alike with who comes: its mean would
    # slow everybody by 9 %
    busy = hour(link, company=Company(N, 1))
    film = films(0.1, 8e6, 4, duration_s=5400.0)
    met = replace(busy, streams={"up": (film,), "down": ()})
    alone, beside = (times(task(), one).times_s for one in (busy, met))
    assert_allclose(np.median(beside), np.median(alone), rtol=0.02)
    slow = beside > 1.8 * alone
    assert (beside < 2.2 * alone).all()
    assert abs(slow.mean() - -np.expm1(-0.1)) < 5 * np.sqrt(0.09 / N)
    # a live one does not make way
    call = replace(film, live=True)
    pressed = times(task(), replace(met, streams={"up": (call,), "down": ()})).times_s
    assert_allclose(np.quantile(pressed / alone, 0.99), 5.0, rtol=0.15)
    # a transfer of days meets its mean
    long = task(size=SizeLaw(median_bytes=1e12))
    far, near = (times(long, one).times_s for one in (met, hour(link, stream_bps=0.8e6)))
    assert_allclose(far, near, rtol=0.05)


def test_a_live_call_is_late_by_half_the_round_trip_where_capacity_suffices(link):
    call = task(flow="both", size=SizeLaw(median_bytes=6e6), duration_s=900.0, live=True)
    draws = times(call, hour(link))
    assert_allclose(draws.times_s, RTT_S / 2, rtol=1e-6)


def test_low_priority_is_not_felt_by_others_and_waits_for_them(link):
    bulk = FlowClass(name="b", arrivals_per_s=2.5, median_bits=2e6, low_priority=True)
    page = FlowClass(name="p", arrivals_per_s=2.5, median_bits=1e6)
    one, busy = task(), hour(link, up=(bulk, page))
    normal = times(one, busy)
    assert_allclose(normal.times_s, times(one, hour(link, up=(page,))).times_s)
    last = times(one, busy, priority="low")
    assert (last.times_s >= normal.times_s).all()
    assert last.times_s.mean() > 1.2 * normal.times_s.mean()
    # down, the carrier's router knows no priority
    down = hour(link, down=(replace(bulk, low_priority=False), page))
    both = (times(task(flow="in"), down, priority=p).times_s for p in ("low", "normal"))
    assert_allclose(*both)


def test_what_is_kept_between_loads_changes_no_number(link):
    alone = {}
    for per_s in (0.2, 2.5, 1.0, 4.0):
        busy = hour(link, up=(FlowClass(name="o", arrivals_per_s=per_s, median_bits=2e6),))
        one = task(size=SizeLaw(median_bytes=2e5, spread=2.0))
        kept = task_draws(
            one, service(one), PathLimits(), busy, rng=np.random.default_rng(7), n_probes=N,
            alone=alone,
        )  # fmt: skip
        assert_allclose(kept.times_s, times(one, busy).times_s, rtol=1e-12)
