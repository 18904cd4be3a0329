"""Busy round trips against the rate at the same moment."""

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.ingest.trace import LatencySamples, Source, ThroughputSamples, Trace
from linkfit.link.busy import RateEffect, fit_rate_effect
from linkfit.link.fit import fit_link
from linkfit.link.latency import fit_latency

IDLE_S = 0.05


def busy_trace(rng, slope, n=400, *, noise=0.2, has_clock=True):
    """Probes at each second of an upload whose queue goes as rate^slope; idle ones after it."""
    rates = 5e6 * np.exp(0.5 * rng.standard_normal(n))
    queue = 0.2 * (rates / 5e6) ** slope * np.exp(noise * rng.standard_normal(n))
    rtts = np.concatenate((IDLE_S + queue, IDLE_S * np.exp(0.02 * rng.standard_normal(60))))
    time = np.concatenate((np.arange(n) + 0.5, n + 100.0 + np.arange(60)))
    zeros = np.zeros(rtts.size, dtype=int)
    latency = LatencySamples(
        time_s=time, rtt_s=rtts, spread_s=zeros, n_probes=zeros + 1, n_lost=zeros,
        loaded=time < n, source=zeros,
    )  # fmt: skip
    zero = np.zeros(n, dtype=int)
    throughput = ThroughputSamples(
        start_s=np.arange(n, dtype=float), duration_s=np.ones(n), bits=rates,
        is_up=zero == 0, transport=zero, n_streams=zero + 1, saturating=zero == 0, layer=zero + 1,
        source=zero,
    )  # fmt: skip
    source = Source(name="test.json", format="test", has_clock=has_clock)
    return Trace(sources=(source,), throughput=throughput, latency=latency)


def effect_of(trace, direction="up"):
    return fit_rate_effect(trace, direction, fit_latency(trace.latency).idle_rtts_s)


@pytest.mark.parametrize("has_clock", [True, False])
@pytest.mark.parametrize("slope", [-1.0, -0.4])
def test_the_exponent_is_recovered(rng, slope, has_clock):
    effect = effect_of(busy_trace(rng, slope, has_clock=has_clock))
    assert effect.found
    assert effect.n_pairs == 400
    assert abs(effect.slope - slope) < 5 * effect.sigma + 0.05  # the base is not known exactly
    assert effect.centre_bps == pytest.approx(5e6, rel=0.1)


def test_no_dependence_is_said_to_be_none(rng):
    effect = effect_of(busy_trace(rng, 0.0))
    assert not effect.found
    assert effect.queue_factor([1e6, 1e7]).tolist() == [1.0, 1.0]


def test_the_slope_is_that_of_numpy(rng):
    # little noise: the prior is lost, and numpy's least squares is the same line
    trace = busy_trace(rng, -0.7, noise=0.05)
    latency = fit_latency(trace.latency)
    base = latency.idle_rtts_s[10]
    queue = trace.latency.rtt_s[:400] - base
    rates = trace.throughput.bits / trace.throughput.duration_s
    slope = np.polyfit(np.log(rates), np.log(queue), 1)[0]
    assert effect_of(trace).slope == pytest.approx(slope, abs=0.01)


def test_few_pairs_or_one_rate_tell_nothing(rng):
    assert effect_of(busy_trace(rng, -1.0, n=20)) is None
    assert effect_of(busy_trace(rng, -1.0), "down") is None
    assert fit_rate_effect(busy_trace(rng, -1.0), "up", None) is None


def test_the_queue_by_hand():
    effect = RateEffect(slope=-1.0, sigma=0.1, centre_bps=4e6, n_pairs=50)
    # half the rate, twice the time; beyond a factor of 8 nothing is extrapolated
    assert effect.queue_factor([2e6, 4e6, 8e6, 0.0, 4e9]).tolist() == [2.0, 1.0, 0.5, 8.0, 0.125]


def test_a_queue_that_grew_with_the_rate_is_not_put_on_faster_links():
    effect = RateEffect(slope=0.6, sigma=0.1, centre_bps=4e6, n_pairs=50)
    assert effect.found
    assert effect.queue_factor([1e6, 4e6, 1e7]).tolist() == [1.0, 1.0, 1.0]


def test_draws_follow_the_rate_they_are_told(rng):
    link = fit_link(busy_trace(rng, -1.0))

    def median(rate):
        drawn = link.draw_rtts_s(4000, np.random.default_rng(1), loaded=True,
                                 rates_bps=np.full(4000, rate))  # fmt: skip
        return float(np.median(drawn))

    slow, fast = median(2.5e6) - IDLE_S, median(1e7) - IDLE_S
    assert slow / fast == pytest.approx(4.0, rel=0.1)
    free = link.draw_rtts_s(4000, np.random.default_rng(1), loaded=True)
    assert float(np.median(free)) == pytest.approx(median(link.latency.up_effect.centre_bps))
    idle = link.draw_rtts_s(9, np.random.default_rng(1), rates_bps=np.full(9, 1e6))
    assert idle.max() < 1.1 * IDLE_S


def test_a_saved_link_keeps_it(rng, tmp_path):
    import linkfit as lf

    link = fit_link(busy_trace(rng, -1.0))
    link.save(tmp_path / "link.json")
    assert lf.load_link(tmp_path / "link.json").latency.up_effect == link.latency.up_effect


def test_a_bad_rate_is_refused():
    with pytest.raises(InputError, match=r"centre_bps: expected a finite number > 0, got 0"):
        RateEffect(slope=-1.0, sigma=0.1, centre_bps=0.0, n_pairs=3)
