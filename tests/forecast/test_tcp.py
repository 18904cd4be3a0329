"""Transfer times against cases by hand and invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.tcp import transfer_times_s
from linkfit.link.paths import CapacityPaths

PACKET_BITS = 12000.0


def test_one_packet_is_two_round_trips_and_two_sendings():
    paths = CapacityPaths.from_rates([12e6])
    times = transfer_times_s(paths, [0.0, 0.3], 1448, 0.06)
    assert_allclose(times, 0.12 + (480 + PACKET_BITS) / 12e6)


def test_slow_start_before_the_link_is_full_by_hand():
    # 12 Mbit/s, 100 ms: 100 packets fill the link. Rounds of 10, 20, 40 and 30 packets begin a
    # round trip and one packet apart; the last packet is the 30th of its round.
    paths = CapacityPaths.from_rates([12e6])
    expected = (0.1 + 480 / 12e6) + 3 * (0.1 + 1e-3) + 30e-3 + 0.1
    assert_allclose(transfer_times_s(paths, [0.0], 100 * 1448, 0.1), expected)


def test_a_dead_link_never_delivers():
    paths = CapacityPaths.from_rates([0.0])
    assert np.isinf(transfer_times_s(paths, [0.0], 1e5, 0.1)).all()


def test_an_unknown_congestion_control_is_refused():
    paths = CapacityPaths.from_rates([1e6])
    with pytest.raises(InputError, match=r"congestion: expected 'cubic' or .*, got 'fast'"):
        transfer_times_s(paths, [0.0], 1e5, 0.1, congestion="fast")


def test_the_call_of_the_contract():
    paths = CapacityPaths.from_rates([4e6] * 40, step_s=0.05)
    times = transfer_times_s(
        paths, starts_s=[0.0, 12.5], size_bytes=1e6, rtt_s=0.06, congestion="cubic", n_flows=1,
        tls=False, buffer_bytes=3e5, loss_frac=0.0,
    )  # fmt: skip
    assert times.shape == (2,)
    assert_allclose(times[0], times[1], rtol=1e-6)


def test_volume_arithmetic():
    # unit definition: 10 GB at 5 Mbit/s are 16,000 s; headers and round trips apart
    paths = CapacityPaths.from_rates([5e6])
    times = transfer_times_s(paths, [0.0], 10e9, 0.0, handshake_round_trips=0, header_bytes=0)
    assert_allclose(times, 16_000.0, rtol=1e-9)


@pytest.mark.parametrize(("trips", "n_rtt"), [(0, 1), (1, 2), (2, 3), (3, 4)])
def test_round_trips_to_the_first_answer(trips, n_rtt):
    # one more than the handshake: TCP 2, TCP and TLS 1.3 3, TLS 1.2 4; QUIC 2, resumed 1
    # (RFC 8446 sections 1.2 and 2 for TLS 1.3; the other counts are values from memory)
    paths = CapacityPaths.from_rates([1e12])
    times = transfer_times_s(paths, [0.0], 100, 0.08, handshake_round_trips=trips)
    assert_allclose(times, n_rtt * 0.08, rtol=1e-4)
    assert_allclose(transfer_times_s(paths, [0.0], 100, 0.08, tls=True), 0.24, rtol=1e-4)


PATHS = st.lists(st.sampled_from([0.0, 4e5, 3e6, 2e7]), min_size=1, max_size=8).map(
    lambda rates: CapacityPaths.from_rates([*rates, 2e6], 0.7)
)
SIZES = st.floats(1.0, 3e6)
RTTS = st.sampled_from([0.0, 0.02, 0.15])
CONGESTION = st.sampled_from(["cubic", "reno"])


@settings(deadline=None)
@given(paths=PATHS, size=SIZES, more=st.floats(0.0, 1e6), rtt_s=RTTS, congestion=CONGESTION)
def test_more_bytes_never_take_less_time(paths, size, more, rtt_s, congestion):
    sizes = [size, size + more]
    few_s, many_s = transfer_times_s(
        paths, 0.3, sizes, rtt_s, congestion=congestion, buffer_bytes=1e8
    )
    assert many_s >= few_s - 1e-9


@settings(deadline=None)
@given(paths=PATHS, size=SIZES, rtt_s=RTTS, buffer_kb=st.sampled_from([8, 100, 1e5]))
def test_never_faster_than_the_capacity(paths, size, rtt_s, buffer_kb):
    times = transfer_times_s(paths, [0.4], size, rtt_s, buffer_bytes=buffer_kb * 1e3)
    bits = paths.carried_bits(0.4) + size * 8 * 1500 / 1448
    assert times[0] >= paths.time_at_bits_s(bits) - 0.4 + rtt_s - 1e-9


@settings(deadline=None)
@given(paths=PATHS, size=SIZES, factor=st.sampled_from([0.5, 3.0, 64.0]))
def test_scaling_sizes_and_rates_alike_leaves_times_alone(paths, size, factor):
    # without round trips the capacity alone decides
    call = {"rtt_s": 0.0, "handshake_round_trips": 0}
    plain = transfer_times_s(paths, [0.2], size, **call)
    scaled = transfer_times_s(paths.scaled(factor), [0.2], size * factor, **call)
    assert_allclose(scaled, plain, rtol=1e-6)


def test_a_window_covers_the_same_time_at_twice_the_packet():
    # everything doubled, packets and buffer too: the same number of packets on a link twice as fast
    rates = np.array([3e6, 1e6, 7e6, 2e6])
    plain, doubled = (
        transfer_times_s(
            CapacityPaths.from_rates(rates * k), [0.1, 2.0], 4e5 * k, 0.08, header_bytes=26.0 * k,
            mss_bytes=724.0 * k, buffer_bytes=2e4 * k, handshake_round_trips=0,
        )
        for k in (1, 2)
    )  # fmt: skip
    assert_allclose(doubled, plain, rtol=1e-9)


def test_rows_are_their_own_paths():
    paths = CapacityPaths.from_rates([[1e6, 2e6], [8e6, 8e6], [0.0, 0.0]])
    together = transfer_times_s(paths, 0.5, 2e5, 0.05, draws=[0, 1, 2])
    alone = transfer_times_s(CapacityPaths.from_rates([1e6, 2e6]), [0.5], 2e5, 0.05)
    assert_allclose(together[0], alone[0])
    assert together[1] < together[0]
    assert np.isinf(together[2])


def test_many_more_transfers_than_fit_one_chunk():
    paths = CapacityPaths.from_rates([4e6, 6e6, 1e6])
    starts_s = np.linspace(0, 3, 40_001)
    times = transfer_times_s(paths, starts_s, 1e5, 0.05)
    few = transfer_times_s(paths, starts_s[::1000], 1e5, 0.05)
    assert_allclose(times[::1000], few, rtol=1e-12)


def test_flows_share_the_start():
    paths = CapacityPaths.from_rates([2e7])
    one_s, four_s = (
        transfer_times_s(paths, [0.0], 5e5, 0.1, n_flows=n, buffer_bytes=1e6)[0] for n in (1, 4)
    )
    assert four_s < one_s - 0.15  # two doublings fewer


def test_lost_packets_need_a_seed_and_many_draws():
    paths = CapacityPaths.from_rates([4e6])
    call = {"starts_s": np.zeros(200), "size_bytes": 1e6, "rtt_s": 0.06, "loss_frac": 0.01}
    times = transfer_times_s(paths, **call)
    assert_allclose(times, transfer_times_s(paths, **call))
    assert np.ptp(times) > 0.5
    assert np.median(times) > transfer_times_s(paths, [0.0], 1e6, 0.06)[0]


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        ({"loss_frac": 1.5}, "loss_frac: expected a number from 0 to 1, got 1.5"),
        ({"loss_burst_packets": 0.5}, "loss_burst_packets: expected >= 1, got 0.5"),
        ({"n_flows": 0}, "n_flows: expected a whole number >= 1, got 0"),
        ({"buffer_bytes": 0}, "buffer_bytes: expected a finite number > 0, got 0"),
        ({"hold_s": -1}, "hold_s: expected a finite number > 0, got -1"),
        ({"draws": 3}, "draws: expected rows 0 to 0 of paths, got 3"),
        ({"handshake_round_trips": -1}, "handshake_round_trips: expected a whole number >= 0"),
    ],
)
def test_wrong_arguments_are_named_and_shown(wrong, message):
    paths = CapacityPaths.from_rates([1e6])
    with pytest.raises(InputError, match=message):
        transfer_times_s(paths, [0.0], 1e5, 0.1, **wrong)


def test_a_shallow_buffer_costs_time_however_short_the_loop_of_the_path():
    # 0.7 of 20 kB of queue never covers the 200 kB that are under way
    for rates, step_s in (([8e6], 0.1), ([8e6] * 3, 0.15), ([8e6] * 50, 0.1)):
        paths = CapacityPaths.from_rates(rates, step_s)
        deep_s, shallow_s = (
            float(transfer_times_s(paths, 0.0, 2.5e6, 0.2, buffer_bytes=buffer_bytes))
            for buffer_bytes in (1e6, 2e4)
        )
        assert shallow_s > 1.05 * deep_s
