"""Files of two links told apart from files of one."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.ingest.trace import LatencySamples, Trace
from linkfit.link.fit import fit_link
from linkfit.link.mixture import KIND, mixed_links


def record(rng, rate_bps, n=60, spread=0.3):
    return Trace.from_rates(rate_bps * np.exp(spread * rng.standard_normal(n)), direction="up")


def test_two_technologies_are_told(rng):
    trace = Trace.merge([record(rng, 2e6), record(rng, 2.4e6), record(rng, 1.2e7)])
    (finding,) = mixed_links(trace)
    assert (finding.source, finding.kind) == ("up", KIND)
    assert "fit each alone" in finding.text
    assert any(finding.kind == KIND for finding in fit_link(trace).findings)


@pytest.mark.parametrize("spread", [0.3, 0.8])
def test_one_link_is_one_link(rng, spread):
    # its own level differs from file to file as tests of one place do (variation 0.5)
    levels = 5e6 * np.exp(0.45 * rng.standard_normal(12))
    assert mixed_links(Trace.merge([record(rng, level, spread=spread) for level in levels])) == ()


@pytest.mark.slow
def test_one_link_is_hardly_ever_taken_for_two(rng):
    told = 0
    for _ in range(200):
        levels = 5e6 * np.exp(0.45 * rng.standard_normal(rng.integers(2, 40)))
        told += bool(mixed_links(Trace.merge([record(rng, level, 10) for level in levels])))
    assert told <= 20  # a tenth


def test_a_bad_evening_among_many_files_is_no_link(rng):
    files = [record(rng, 8e6) for _ in range(11)]
    assert mixed_links(Trace.merge([*files, record(rng, 1e6)])) == ()


def test_one_file_is_one_link(rng):
    rates = np.concatenate([np.full(50, 1e6), np.full(50, 9e6)])
    assert mixed_links(Trace.from_rates(rates)) == ()


def test_small_transfers_do_not_make_a_link_slow():
    # one rate and one round trip: small ones are slow by size over duration
    small = Trace.from_transfers(np.full(40, 2e4), np.full(40, 0.2))
    large = Trace.from_transfers(np.full(40, 4e6), np.full(40, 4.2))
    assert mixed_links(Trace.merge([small, large])) == ()


def pings(rng, rtt_s):
    rtts = rtt_s * np.exp(0.2 * rng.standard_normal(50))
    trace = Trace.from_quick_numbers(up_bps=1e6, rtt_s=rtt_s)
    zeros = np.zeros(50)
    latency = LatencySamples(
        time_s=np.arange(50.0),
        rtt_s=rtts,
        spread_s=np.full(50, np.nan),
        loaded=zeros > 0,
        n_probes=np.ones(50, dtype=int),
        n_lost=zeros.astype(int),
        source=zeros.astype(int),
    )
    return replace(trace, latency=latency)


def test_round_trips_of_two_links_are_told(rng):
    (finding,) = mixed_links(Trace.merge([pings(rng, 0.03), pings(rng, 0.6)]))
    assert finding.source == "round trips"
    assert mixed_links(Trace.merge([pings(rng, 0.03), pings(rng, 0.05)])) == ()
