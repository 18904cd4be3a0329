"""Round trips that runs meet: busy ones as often as the link is busy, as they were measured."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.forecast.round_trips import RoundTrips
from linkfit.ingest.trace import LatencySamples, Source, Trace
from linkfit.link.busy import RateEffect
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths

RTT_S = 0.05
PATHS = {way: CapacityPaths.from_rates(np.full(3600, 10e6)) for way in ("up", "down")}


def probes(rtt_s, n=30, *, loaded=False):
    """So many round trips of the same length that their spread is known to be none."""
    samples = LatencySamples(
        time_s=np.arange(n), rtt_s=np.full(n, rtt_s), spread_s=np.zeros(n), n_probes=np.ones(n),
        n_lost=np.zeros(n), loaded=np.full(n, loaded), source=np.zeros(n),
    )  # fmt: skip
    return Trace(sources=(Source(name="probes", format="test", has_clock=False),), latency=samples)


def met_s(link, busy_frac, rng):
    return RoundTrips.draw(link, PATHS, ["up"], 400, rng).met_s({"up": busy_frac})


def test_round_trips_are_busy_ones_as_often_as_the_link_is_busy(rng):
    trace = Trace.merge(
        [
            Trace.from_rates(np.full(900, 10e6), direction="up"),
            probes(RTT_S),
        ]
    )
    busy_link = fit_link(trace)
    rtts_s = met_s(busy_link, 0.5, rng)
    waits = rtts_s > RTT_S * (1 + 1e-6)
    # nobody measured busy round trips: half of the moments wait behind a queue; the standard
    # error of a half in 400 moments is 2.5 %
    assert waits.mean() == pytest.approx(0.5, abs=0.125)
    assert_allclose(rtts_s[~waits], RTT_S, rtol=1e-6)


def test_busy_round_trips_that_were_measured_are_met_as_they_were(rng):
    trace = Trace.merge(
        [
            Trace.from_rates(np.full(900, 10e6), direction="up"),
            probes(RTT_S),
            probes(0.2, loaded=True),
        ]
    )
    rtts_s = met_s(fit_link(trace), 0.5, rng)
    assert np.unique(np.round(rtts_s, 9)).tolist() == [RTT_S, 0.2]


def test_futures_whose_hour_is_slow_have_the_longer_queues(rng):
    trace = Trace.merge(
        [
            Trace.from_rates(np.full(900, 10e6), direction="up"),
            probes(RTT_S, 300),
            probes(RTT_S + 0.1, 300, loaded=True),
        ]
    )
    known = fit_link(trace)
    effect = RateEffect(slope=-1.0, sigma=0.1, centre_bps=10e6, n_pairs=300)
    link = replace(known, latency=replace(known.latency, up_effect=effect))
    rates = np.where(np.arange(40) % 2, 5e6, 20e6)[:, None] * np.ones(600)
    paths = {"up": CapacityPaths.from_rates(rates)}
    queue_s = RoundTrips.draw(link, paths, ["up"], 400, rng).met_s({"up": 1.0}) - RTT_S
    slow = np.arange(400) % 2 == 1
    # a full buffer: half the rate of the tests, twice their wait, and half of it at twice
    assert np.median(queue_s[slow]) == pytest.approx(0.2, rel=0.15)
    assert np.median(queue_s[~slow]) == pytest.approx(0.05, rel=0.15)


def test_more_load_never_shortens_a_round_trip_and_two_ways_meet_the_slower(rng):
    trace = Trace.merge(
        [
            Trace.from_quick_numbers(up_bps=10e6, down_bps=20e6),
            probes(RTT_S),
        ]
    )
    runs = RoundTrips.draw(fit_link(trace), PATHS, ["up", "down"], 400, rng)
    rising = [runs.met_s({"up": up, "down": down}) for up, down in ((0, 0), (0.3, 0), (0.3, 0.8))]
    for fewer, more in pairwise(rising):
        assert (more >= fewer).all()
        assert (more > fewer).any()


def test_without_a_measured_way_the_round_trips_are_idle_ones(rng):
    link = fit_link(Trace.from_quick_numbers(up_bps=10e6, rtt_s=RTT_S))
    runs = RoundTrips.draw(link, {}, [], 50, rng)
    assert (runs.met_s({}) == runs.idle_s).all()
