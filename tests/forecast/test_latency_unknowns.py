"""What is not known of delay and loss: wide after one probe, narrow after many."""

from dataclasses import replace

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.latency_unknowns import PRIOR_QUEUE_S, draw_unknowns
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.latency import LatencyModel
from linkfit.link.model import LinkModel

WORLD = np.repeat(np.arange(400), 2).astype(np.int32)


@pytest.fixture(scope="module")
def bare():
    """A link of which the rate alone was measured."""
    return fit_link(Trace.from_quick_numbers(up_bps=6e6))


def with_latency(link, **fields):
    defaults = {
        "idle_rtts_s": np.full(201, 0.05), "loaded_rtts_s": None, "loss_frac": 0.0,
        "n_idle": 0, "n_loaded": 0,
    }  # fmt: skip
    return LinkModel(up=link.up, down=None, latency=LatencyModel(**(defaults | fields)))


def drawn(link, **options):
    return draw_unknowns(link, "up", WORLD, np.random.default_rng(1), **options)


def ratio(values, low=0.05, high=0.95):
    return float(np.quantile(values, high) / np.quantile(values, low))


def test_rows_of_a_world_share_what_is_unknown(bare):
    found = drawn(bare)
    for array in (found.queue_bits, found.rtt_factor, found.loss_frac, found.burst_ratio):
        assert (array[::2] == array[1::2]).all()
        assert np.unique(array).size == 400  # each world its own


def test_without_a_probe_the_prior_speaks(bare):
    found = drawn(bare)
    assert found.queue_source == "common practice"
    expected = PRIOR_QUEUE_S * bare.up.mean_rate_bps
    # the median of 400 lognormal draws is known to 1.25 sigma / 20 = 6 %; three times that
    assert np.median(found.queue_bits) == pytest.approx(expected, rel=0.18)
    assert ratio(found.queue_bits) == pytest.approx(2.5 ** (2 * 1.645), rel=0.35)
    # 1 % in the mean; a beta of 0.3 and 29.7 has a standard deviation of 1.8 %, over 20 here
    assert found.loss_frac.mean() == pytest.approx(0.01, abs=0.0027)


@pytest.mark.parametrize("part", ["queue_bits", "rtt_factor"])
def test_more_probes_narrow_what_is_unknown(bare, part):
    spread = {"idle_rtts_s": np.linspace(0.03, 0.08, 201), "loaded_rtts_s": np.full(201, 0.3)}
    ratios = [
        ratio(getattr(drawn(with_latency(bare, n_idle=n, n_loaded=n, **spread)), part))
        for n in (1, 30, 1000)
    ]
    assert ratios[0] > ratios[1] > ratios[2] > 1


def test_round_trips_that_never_differ_have_a_known_level(bare):
    assert (drawn(with_latency(bare, n_idle=30)).rtt_factor == 1).all()


def test_a_measured_queue_is_the_busy_less_the_idle_round_trip_at_the_mean_rate(bare):
    link = with_latency(bare, loaded_rtts_s=np.full(201, 0.3), n_idle=900, n_loaded=900)
    found = drawn(link)
    assert found.queue_source == "measured under load"
    expected = link.buffer_bytes("up") * 8
    assert np.median(found.queue_bits) == pytest.approx(expected, rel=0.03)


def test_a_link_that_nobody_filled_has_no_measured_queue(bare):
    """A device's own log: round trips while something moved, never while all was asked for."""
    link = with_latency(bare, loaded_rtts_s=np.full(201, 0.05), n_idle=900, n_loaded=900)
    passive = replace(link, up=replace(link.up, lower_bound_only=True))
    assert drawn(link).queue_source == "measured under load"
    assert drawn(passive).queue_source == "common practice"


def test_a_stated_buffer_has_no_spread(bare):
    found = drawn(bare, buffer_bytes=3e5)
    assert (found.queue_bits == 2.4e6).all()
    assert found.queue_source == "as stated"


def test_one_probe_tells_little_of_loss_and_many_tell_it(bare):
    one = drawn(with_latency(bare, n_idle=1)).loss_frac
    clean = drawn(with_latency(bare, n_idle=3000)).loss_frac
    lossy = drawn(with_latency(bare, n_idle=3000, random_loss_frac=0.02)).loss_frac
    assert np.quantile(one, 0.95) > 0.03
    assert np.quantile(clean, 0.95) < 0.002
    # 60 of 3000: standard deviation 0.26 %
    assert lossy.mean() == pytest.approx(0.02, abs=0.001)
    assert lossy.std() == pytest.approx(0.0026, rel=0.2)


def test_lost_in_a_row_is_worth_fewer_probes_and_a_burst_ratio(bare):
    many = {"n_idle": 3000, "random_loss_frac": 0.02}
    burst = drawn(with_latency(bare, mean_burst_probes=4.0, **many))
    alone = drawn(with_latency(bare, mean_burst_probes=1.0, **many))
    assert burst.loss_frac.std() == pytest.approx(2 * alone.loss_frac.std(), rel=0.2)
    assert burst.burst_ratio.mean() == pytest.approx(4 * 0.98, rel=0.01)
    assert (alone.burst_ratio == 1).all()


def test_a_buffer_of_nothing_is_refused(bare):
    with pytest.raises(InputError, match="buffer_bytes: expected a finite number > 0, got 0"):
        drawn(bare, buffer_bytes=0.0)
