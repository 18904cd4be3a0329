"""The whole answer on interactive work: its parts agree with each other and know their limits."""

import numpy as np
import pytest

from linkfit.errors import FitError, InputError
from linkfit.forecast.interactive_forecast import NO_LIMIT, forecast_interactive
from linkfit.ingest.trace import LatencySamples, Source, Trace
from linkfit.link.fit import fit_link
from linkfit.site.model import PathLimits, Service, Site, SizeLaw, Task

RNG = np.random.default_rng(8)


@pytest.fixture(scope="module")
def link():
    """Forty minutes of an uplink that changes by the second, and 900 idle probes."""
    rates = RNG.lognormal(np.log(6e6), 0.45, 2400)
    n = 900
    probes = LatencySamples(
        time_s=np.arange(n), rtt_s=RNG.lognormal(np.log(0.05), 0.1, n), spread_s=np.zeros(n),
        n_probes=np.ones(n), n_lost=np.zeros(n), loaded=np.zeros(n), source=np.zeros(n),
    )  # fmt: skip
    sources = (Source(name="probes", format="test", has_clock=False),)
    up = Trace.from_rates(rates, direction="up")
    down = Trace.from_quick_numbers(down_bps=2e7)
    return fit_link(Trace.merge([up, down, Trace(sources=sources, latency=probes)]))


@pytest.fixture(scope="module")
def found(link):
    return forecast_interactive(link, buffer_bytes=3e5)


def cell(found, activity, situation):
    return next(c for c in found.cells if (c.activity, c.situation) == (activity, situation))


def test_each_activity_is_judged_in_each_situation(found):
    assert len(found.cells) == 4 * 3
    names = [c.situation for c in found.cells[::4]]
    assert names[:2] == ["nothing else is sent", NO_LIMIT]
    assert names[2].startswith("a backup runs at ")


def test_the_limit_it_names_keeps_what_it_promises(found):
    """The limit comes from every moment of every row, the cell from 4000 of them."""
    last = found.cells[-1].situation
    for limit in found.limits[:3]:
        assert found.limit_bps <= limit.limit.value
        # 5 standard errors of a share of 95 % in 4000 moments, and rows that repeat
        assert cell(found, limit.name, last).share.value >= 0.95 - 0.03


def test_a_backup_without_a_limit_is_worst_and_an_idle_link_best(found):
    for activity in ("key echo", "voice call", "video call", "page load"):
        shares = [c.share.value for c in found.cells if c.activity == activity]
        idle, full, held = shares
        assert full <= held + 0.01 <= idle + 0.02


def test_a_limit_costs_time_and_a_chosen_one_is_used(link, found):
    assert float(found.held_s.quantile(0.5)) > float(found.free_s.quantile(0.5))
    chosen = forecast_interactive(link, buffer_bytes=3e5, upload_limit_bps=1e6)
    assert (chosen.limit_bps, chosen.limit_is_given) == (1e6, True)
    # 1 GB and 4 % of headers at 1 Mbit/s, which the link nearly always carries
    assert float(chosen.held_s.quantile(0.5)) == pytest.approx(8320, rel=0.02)


def test_a_smaller_buffer_never_lowers_the_limit(link, found):
    small = forecast_interactive(link, buffer_bytes=1e5)
    for one, other in zip(small.limits, found.limits, strict=True):
        assert one.limit.value >= other.limit.value


def test_one_ping_makes_a_wide_answer():
    """A call judged by one probe may fit at best: delay under load and loss are unknown."""
    one = forecast_interactive(
        fit_link(Trace.from_quick_numbers(up_bps=6e6, down_bps=2e7, rtt_s=0.055))
    )
    assert (one.n_probes, one.queue_source) == (1, "common practice")
    call = cell(one, "voice call", NO_LIMIT)
    assert call.share.low < 0.1 < 0.5 < call.share.high
    assert cell(one, "voice call", "nothing else is sent").share.low < 0.95
    assert one.limits[0].limit.high > 1.5 * one.limits[0].limit.low


def test_the_site_brings_its_relay_its_tunnel_and_its_usual_traffic(link, found):
    task = Task(name="add", flow="out", size=SizeLaw(median_bytes=3e6), per_user_day=40.0)
    site = Site(
        name="dig",
        path=PathLimits(entry="relay", relay_rtt_s=0.1, tunnel_overhead_bytes=60.0),
        services=(Service(name="photos", kind="photo-library", n_users=8, tasks=(task,)),),
    )
    there = forecast_interactive(link, site=site, buffer_bytes=3e5)
    assert len(there.cells) == 4 * 4
    usual = cell(there, "key echo", "the site's usual traffic runs").share.value
    idle = cell(there, "key echo", "nothing else is sent")
    assert cell(there, "key echo", NO_LIMIT).share.value < usual < idle.share.value
    bare = cell(found, "key echo", "nothing else is sent")
    assert idle.time.quantile(0.5) - bare.time.quantile(0.5) == pytest.approx(0.1, abs=0.01)
    assert there.groups[0].n_people <= found.groups[0].n_people
    assert there.free_s.quantile(0.5) > found.free_s.quantile(0.5)


def test_the_idle_path_is_half_a_round_trip_and_keeps_its_classes(found):
    idle = found.idle
    # half of 50 ms, and a packet of 115 bytes and the rest of the step at some 6 Mbit/s
    assert idle.delay_s.value == pytest.approx(0.0253, abs=0.003)
    assert idle.delay_s.low <= idle.delay_s.value <= idle.delay_s.high
    # half the round trips' own spread of 10 %: about 6 x 2.5 ms
    assert idle.variation_s.value < 0.05
    # 900 probes came back: the loss is small, and still unknown to a thousandth
    assert idle.loss_frac.high < 0.005
    assert 5 in idle.classes


def test_groups_are_bounded_by_both_directions(found):
    voice, video = found.groups
    assert voice.ways == ("up", "down")
    assert video.n_people <= voice.n_people
    # at 6 Mbit/s in the mean and 655 kbit/s a stream at most 3 people: 6 streams are 3.9 Mbit/s
    assert 2 <= video.n_people <= 3
    assert voice.n_low <= voice.n_people <= voice.n_high


def test_the_same_seed_gives_the_same_answer(link, found):
    again = forecast_interactive(link, buffer_bytes=3e5)
    assert [c.share for c in again.cells] == [c.share for c in found.cells]
    assert [one.limit for one in again.limits] == [one.limit for one in found.limits]


def test_what_was_never_measured_or_makes_no_sense_is_refused(link):
    with pytest.raises(FitError, match="up: expected at least one measurement"):
        forecast_interactive(fit_link(Trace.from_quick_numbers(down_bps=2e7)))
    with pytest.raises(InputError, match="upload_limit: expected a finite number > 0, got -1"):
        forecast_interactive(link, upload_limit_bps=-1.0)
