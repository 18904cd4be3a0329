"""The largest rate limit: on a steady link by hand, on a changing one against brute force."""

from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.forecast.activities import key_echo, video_call
from linkfit.forecast.latency_unknowns import LatencyUnknowns
from linkfit.forecast.queue_delay import (
    largest_added_queue_bits,
    largest_queue_bits,
    queue_bits,
    warm_up_steps,
)
from linkfit.forecast.rate_limits import (
    activity_room_bits,
    adaptive_limits_bps,
    added_delay_limit,
    independent_samples,
    largest_group,
    largest_limit,
    start_limit_bps,
)
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.paths import CapacityPaths


def unknowns(paths, buffer_bits=4e6, loss_frac=0.0):
    d = paths.n_draws
    return LatencyUnknowns(
        queue_bits=np.full(d, buffer_bits), rtt_factor=np.ones(d),
        loss_frac=np.full(d, loss_frac), burst_ratio=np.ones(d), queue_source="as stated",
    )  # fmt: skip


@pytest.fixture
def wild(rng):
    """Twelve rows of a link that changes by the second, two a world."""
    levels = np.repeat(rng.lognormal(np.log(3e6), 0.3, 6), 2)
    rates = levels[:, None] * rng.lognormal(0.0, 0.5, (12, 500))
    return CapacityPaths.from_rates(rates, world=np.repeat(np.arange(6), 2))


def test_a_steady_link_can_be_filled_up_to_its_rate_less_the_call():
    paths = CapacityPaths.from_rates(np.full((4, 400), 2e6))
    found = added_delay_limit(paths, unknowns(paths))
    assert found.limit.value == pytest.approx(2e6, rel=0.2)  # between two of the limits tried
    assert found.limit.value <= 2e6 * 1.2
    room = largest_queue_bits(paths, 0.4, 1e4)
    call = largest_limit(paths, unknowns(paths), room, name="call", good="", own_bps=6e5)
    assert call.limit.value < found.limit.value
    assert call.is_needed
    assert call.idle_share.value == 1.0


def test_it_is_the_rate_that_brute_force_finds(wild):
    known, chance = unknowns(wild), 0.9
    found = added_delay_limit(wild, known, bound_s=0.2, wanted_prob=chance)
    room = largest_added_queue_bits(wild, 0.2, 12e3)
    n_warm = warm_up_steps(wild)

    def share(limit_bps):
        fits = queue_bits(wild, limit_bps, known.queue_bits) <= room
        return fits[:, n_warm:].mean()

    tried = np.linspace(1e5, 6e6, 120)
    most = max(limit for limit in tried if share(limit) >= chance)
    # the limits tried are a fifth apart, and the share is interpolated between them
    assert found.limit.value == pytest.approx(most, rel=0.08)
    assert found.start_share.value == pytest.approx(share(start_limit_bps(wild)))


def test_the_interval_is_over_the_worlds_and_a_wider_bound_allows_more(wild):
    found = [added_delay_limit(wild, unknowns(wild), bound_s=b) for b in (0.05, 0.2, 1.0)]
    limits = [one.limit.value for one in found]
    assert limits == sorted(limits)
    assert all(one.limit.low < one.limit.value < one.limit.high for one in found)
    strict = added_delay_limit(wild, unknowns(wild), bound_s=0.2, wanted_prob=0.99)
    assert strict.limit.value < found[1].limit.value


def test_what_even_an_idle_link_misses_has_no_limit(wild):
    link = fit_link(Trace.from_quick_numbers(up_bps=3e6, rtt_s=0.3))
    room = activity_room_bits(wild, unknowns(wild), key_echo(0.25), link, np.random.default_rng(1))
    found = largest_limit(wild, unknowns(wild), room, name="key echo", good="")
    assert found.limit.value == 0
    assert found.idle_share.value < 0.5
    assert found.sync_share.value < 1e-4


def test_fewer_looks_at_the_link_leave_more_open(wild):
    limits = [
        added_delay_limit(wild, unknowns(wild), bound_s=0.2, n_independent=n).limit
        for n in (np.inf, 1e9, 1000.0, 100.0, 20.0, 5.0)
    ]
    # so many leave the worlds alone to decide
    assert limits[1].low == pytest.approx(limits[0].low, rel=1e-3)
    assert {one.value for one in limits} == {limits[0].value}
    lows, highs = [one.low for one in limits], [one.high for one in limits]
    assert lows == sorted(lows, reverse=True)
    assert highs == sorted(highs)
    assert lows[-1] < lows[0]
    assert highs[-1] > highs[0]


def test_looks_are_counted_by_how_averages_vary(rng):
    steady = fit_link(Trace.from_rates(np.full(600, 2e6), direction="up")).up
    assert independent_samples(steady) == np.inf
    few = fit_link(Trace.from_rates(rng.normal(3e6, 1e5, 30), direction="up")).up
    assert independent_samples(few) == 3.0  # too short for averages: one each 10 s
    # twelve of 40 minutes: every second by itself, and each value held for 10 s
    looks = {1: [], 10: []}
    for n_held, found in looks.items():
        for _ in range(12):
            rates = np.repeat(rng.normal(3e6, 3e5, 2400 // n_held), n_held)
            model = SimpleNamespace(
                runs=SimpleNamespace(rates_bps=rates, first=np.array([0, 2400])),
                dependence=SimpleNamespace(windows_s=(1, 10, 60, 300)), noise_sigma=0.0,
            )  # fmt: skip
            found.append(independent_samples(model))
    # the fewest of three: below the true number, the more so as long averages are few
    assert 0.4 * 2400 < np.mean(looks[1]) < 2400
    assert 0.4 * 240 < np.mean(looks[10]) < 240 * 1.1


def test_a_small_buffer_needs_no_limit(wild):
    found = added_delay_limit(wild, unknowns(wild, buffer_bits=1e3))
    assert not found.is_needed


def test_loss_and_round_trips_take_from_the_room(wild):
    link = fit_link(Trace.from_quick_numbers(up_bps=3e6, rtt_s=0.05))

    def late_share(activity, **options):
        room = activity_room_bits(
            wild, unknowns(wild, **options), activity, link, np.random.default_rng(1)
        )
        return (room < 0).mean()

    clean, lossy = late_share(key_echo()), late_share(key_echo(), loss_frac=0.05)
    # 1 - 0.95^2 = 9.75 % of the moments that were in time
    assert lossy - clean == pytest.approx(0.0975 * (1 - clean), abs=0.02)
    assert late_share(video_call()) <= clean + 0.01


def test_the_start_values_by_hand():
    paths = CapacityPaths.from_rates(np.tile([1e6, 2e6, 3e6, 4e6], (2, 25)))
    assert start_limit_bps(paths) == pytest.approx(0.85e6)
    assert adaptive_limits_bps(paths) == pytest.approx((1e6, 0.7 * 2.5e6, 4e6))


@pytest.mark.parametrize(
    ("limit_bps", "n_people"), [(0, 1), (1.9e6, 1), (2e6, 2), (6e6, 3), (11.9e6, 3), (12e6, 4)]
)
def test_the_largest_group_sends_what_fits(limit_bps, n_people):
    assert largest_group(limit_bps, 1e6) == n_people
    assert n_people * (n_people - 1) * 1e6 <= max(limit_bps, 0)


def test_a_chance_outside_0_to_1_is_refused(wild):
    with pytest.raises(InputError, match=r"wanted_prob: expected a number from 0 to 1, got 1\.5"):
        added_delay_limit(wild, unknowns(wild), wanted_prob=1.5)
