from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.latency import fit_latency
from linkfit.link.stand_ins import floor_runs, moved_s, transfer_looks


def durations(sizes_bytes, rate_bps, rtt_s, handshake_round_trips=0):
    """What the forecast's own TCP takes over a link of one rate, the connection standing."""
    paths = lf.CapacityPaths.from_rates([rate_bps] * 10)
    n = len(sizes_bytes)
    return lf.transfer_times_s(
        paths, np.zeros(n), np.asarray(sizes_bytes, float), np.full(n, rtt_s),
        handshake_round_trips=handshake_round_trips,
    )  # fmt: skip


def rates_of(looks):
    """The rate of each transfer; every one holds it equally long."""
    hold = looks.runs.rates_bps.size // looks.sending_s.size
    return looks.runs.rates_bps.reshape(-1, hold)[:, 0]


@pytest.mark.parametrize("rtt_s", [0.02, 0.06, 0.15])
@pytest.mark.parametrize("rate_bps", [5e5, 5e6, 2e7])
def test_the_closed_form_is_what_the_forecast_does(rate_bps, rtt_s):
    sizes = np.array([2e4, 1e5, 5e5, 3e6, 2e7])
    ours = moved_s(sizes, np.full(5, rate_bps), np.full(5, rtt_s))
    assert ours == pytest.approx(durations(sizes, rate_bps, rtt_s), rel=0.03)


def test_size_and_rate_are_told_apart():
    rng = np.random.default_rng(5)
    sizes = np.exp(rng.uniform(np.log(1e5), np.log(2e7), 60))
    rates = 8e6 * np.exp(0.2 * rng.standard_normal(60))
    took = [durations([s], r, 0.2)[0] for s, r in zip(sizes, rates, strict=True)]
    looks = transfer_looks(Trace.from_transfers(sizes, took), "up", None)
    assert np.median(looks.rtts_s) == pytest.approx(0.2, rel=0.15)
    assert np.median(rates_of(looks)) == pytest.approx(8e6, rel=0.1)
    assert abs(np.corrcoef(np.log(sizes), np.log(rates_of(looks)))[0, 1]) < 0.3
    naive = sizes * 8 / took
    assert np.corrcoef(np.log(sizes), np.log(naive))[0, 1] > 0.7  # what size / duration would say


def test_a_forecast_gives_back_what_was_measured():
    # one size only: the round trip stays a guess, yet the same size takes the same time again
    rng = np.random.default_rng(6)
    rates = 8e6 * np.exp(0.3 * rng.standard_normal(80))
    took = np.array([durations([5e5], rate, 0.1)[0] for rate in rates])
    link = lf.fit_link(Trace.from_transfers(np.full(80, 5e5), took))
    forecast = lf.predict_transfer(link, size_bytes=5e5, direction="up")
    assert forecast.quantile(0.5) == pytest.approx(np.median(took), rel=0.1)


def test_a_measured_round_trip_is_used():
    sizes = np.array([5e6, 5e6])
    rtts = np.array([0.05, 0.6])
    took = np.array([durations([5e6], 8e6, rtt)[0] for rtt in rtts])
    looks = transfer_looks(Trace.from_transfers(sizes, took, rtts_s=rtts), "up", None)
    assert rates_of(looks) == pytest.approx([8e6, 8e6], rel=0.1)
    assert looks.rtts_s == pytest.approx(rtts)


def test_the_idle_round_trip_of_the_link_is_the_next_best():
    latency = fit_latency(Trace.from_quick_numbers(down_bps=1e6, rtt_s=0.3).latency)
    trace = Trace.from_transfers([1e6], durations([1e6], 8e6, 0.3))
    looks = transfer_looks(trace, "up", latency)
    assert rates_of(looks) == pytest.approx([8e6], rel=0.03)
    assert lf.fit_link(trace).latency.n_idle == 0  # told by transfers, by no probe


def test_slow_transfers_count_once_like_fast_ones():
    sizes = np.full(40, 1e6)
    took = np.where(np.arange(40) % 2, 1.0, 20.0)
    looks = transfer_looks(Trace.from_transfers(sizes, took), "up", None)
    slow = looks.runs.rates_bps < 2e6
    assert slow.mean() == pytest.approx(0.5)


def test_what_is_counted_counts_each_transfer_once():
    rng = np.random.default_rng(8)
    took = 1e6 * 8 / (6e6 * np.exp(0.4 * rng.standard_normal(120)))
    trace = Trace.from_transfers(np.full(120, 1e6), took)
    once = transfer_looks(trace, "up", None).once()
    assert once.rates_bps.size == 120
    up = lf.fit_link(trace).up
    assert up.marginal.n_seconds == 120
    # independent transfers are told as such, though each holds its rate for a while
    assert abs(up.dependence.lag1_correlation) < 0.4


def test_a_long_pause_or_another_source_begins_a_session():
    start = [datetime(2026, 6, 15, 8, tzinfo=UTC) + timedelta(seconds=s) for s in (0, 10, 4000)]
    one = Trace.from_transfers([1e6] * 3, [1.0] * 3, starts=start)
    assert transfer_looks(one, "up", None).n_apart == 2
    no_clock = Trace.from_transfers([1e6] * 3, [1.0] * 3)
    assert transfer_looks(Trace.merge([no_clock, no_clock]), "up", None).n_apart == 2


def test_only_the_asked_direction_counts():
    assert transfer_looks(Trace.from_transfers([1e6], [1.0]), "down", None) is None


def test_small_transfers_alone_still_give_an_answer():
    link = lf.fit_link(Trace.from_transfers([1e4, 2e4, 1e4], [0.5, 0.5, 0.6]))
    assert link.up.mean_rate_bps > 0


def test_the_floor_is_what_was_carried_at_the_busiest(rng):
    rates = np.full(600, 1e5)
    rates[100:160] = 5e6  # one minute of real use
    rates[300] = 9e7  # one second of a buffer flushed
    trace = Trace.from_rates(rates, saturating=False, layer="ip")
    runs = floor_runs(trace, "up")
    assert 5e6 <= runs.rates_bps[0] <= 9e6 + 5e6  # not the 90 Mbit/s of the one second
    link = lf.fit_link(trace)
    assert link.up.lower_bound_only
    assert any("floor" in finding.text for finding in link.findings)
    assert any("only seen below its limit" in text for text in link.missing)


def test_nothing_carried_is_no_floor():
    assert floor_runs(Trace.from_rates(np.zeros(60), saturating=False), "up") is None


def told_link(n=120, *, link_bps=1e7, rtt_s=0.06, seed=11):
    """Transfers of 50 kB to 2 MB over one rate whose round trips tremble by a third."""
    rng = np.random.default_rng(seed)
    sizes = np.exp(rng.uniform(np.log(5e4), np.log(2e6), n))
    rtts = rtt_s * np.exp(0.33 * rng.standard_normal(n))
    took = [durations([s], link_bps, r)[0] for s, r in zip(sizes, rtts, strict=True)]
    return sizes, np.array(took)


def test_no_rate_is_told_that_no_transfer_came_near():
    sizes, took = told_link()
    looks = transfer_looks(Trace.from_transfers(sizes, took), "up", None)
    fastest = (sizes * 8 / took).max()
    assert fastest > 6e6  # the largest ones nearly fill the link of 10 Mbit/s
    # without a ceiling the fastest small ones are read as 60 Mbit/s
    assert rates_of(looks).max() <= 2 * fastest * 1500 / 1448 * 1.001


def test_below_the_ceiling_a_transfer_still_takes_what_it_took():
    sizes, took = told_link()
    looks = transfer_looks(Trace.from_transfers(sizes, took), "up", None)
    ceiling = 2 * (sizes * 8 / took).max() * 1500 / 1448
    capped = rates_of(looks) > 0.999 * ceiling
    assert capped.any()
    assert (looks.rtts_s[capped] <= looks.rtts_s.max()).all()
    assert looks.rtts_s[capped].min() < 0.9 * np.median(looks.rtts_s)
