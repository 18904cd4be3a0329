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


T3_BPS, T3_FRAME_BYTES = 44.21e6, 8  # a line of RFC 6349 and what it adds to each packet


def steady_bps(rate_bps, rtt_s, window_bytes, *, mss_bytes, header_bytes=0.0):
    """Payload rate once the window is open; `rtt_s` holds the sending of a packet as well."""
    paths = CapacityPaths.from_rates([rate_bps])
    sending_s = (mss_bytes + header_bytes) * 8 / rate_bps
    sizes = np.array([200.0, 700.0]) * window_bytes
    first_s, all_s = transfer_times_s(
        paths, 0.0, sizes, rtt_s - sending_s, window_bytes=window_bytes * (1 + 1e-9),
        mss_bytes=mss_bytes, header_bytes=header_bytes, buffer_bytes=1e9, congestion="reno",
    )  # fmt: skip
    return (sizes[1] - sizes[0]) * 8 / (all_s - first_s)


@pytest.mark.parametrize(
    ("rate_mbps", "rtt_ms", "window_kb"),
    [  # RFC 6349 section 3.3.1, table 3.3.1, all rows; KB is 1000 bytes there
        (1.536, 20, 3.84), (1.536, 50, 9.60), (1.536, 100, 19.20), (44.21, 10, 55.26),
        (44.21, 15, 82.89), (44.21, 25, 138.16), (100, 1, 12.50), (100, 2, 25.00), (100, 5, 62.50),
        (1000, 0.1, 12.50), (1000, 0.5, 62.50), (1000, 1, 125.00), (10000, 0.05, 62.50),
        (10000, 0.3, 375.00),
        # the two ways of an asymmetric path, RFC 6349 section 3.3.1
        (5, 90, 56.25), (0.64, 90, 7.20),
    ],
)  # fmt: skip
def test_a_window_of_the_printed_product_just_fills_the_line(rate_mbps, rtt_ms, window_kb):
    line_bps, window_bytes = rate_mbps * 1e6, window_kb * 1e3
    call = {"rtt_s": rtt_ms / 1e3, "mss_bytes": window_bytes / 64}
    assert steady_bps(line_bps, window_bytes=window_bytes, **call) / line_bps == pytest.approx(
        1.0, rel=1e-3
    )
    half = steady_bps(line_bps, window_bytes=window_bytes / 2, **call)
    assert half / line_bps == pytest.approx(0.5, rel=1e-3)


@pytest.mark.parametrize(
    ("window_kb", "rtt_ms", "rate_mbps"),
    [  # RFC 6349 section 3.3.1 and figures 3.3.1a and b; printed digits are truncated
        (16, 5, 25.6), (16, 10, 12.8), (16, 15, 8.5), (16, 25, 5.1),
        (64, 10, 42.8), (64, 15, 34.1), (64, 25, 20.5), (32, 25, 10.2), (128, 25, 40.9),
    ],
)  # fmt: skip
def test_windows_on_a_t3_as_rfc_6349_prints_them(window_kb, rtt_ms, rate_mbps):
    # 40 bytes of headers in packets of 1500; what 64 KB allow at 10 ms is more than the line does
    by_line = rate_mbps == 42.8
    mss_bytes = 1460.0 if by_line else 1000.0
    found = steady_bps(
        T3_BPS, rtt_ms / 1e3, window_kb * 1e3, mss_bytes=mss_bytes,
        header_bytes=40.0 + T3_FRAME_BYTES,
    )  # fmt: skip
    assert found / 1e6 == pytest.approx(rate_mbps, abs=0.1)


def test_a_satellite_window_of_rfc_2488():
    # section 4.2: 65,535 bytes over 560 ms are 117,027 bytes/s; a T1 of 192,000 bytes/s takes two
    found = steady_bps(1e9, 0.560, 65_535, mss_bytes=1285.0) / 8
    assert found == pytest.approx(117_027, abs=1)


def test_a_window_of_1200_packets_in_10_ms():
    # RFC 9438 section 5.1: 1.44 Gbit/s with packets of 1500 bytes
    found = steady_bps(1e10, 0.01, 1200 * 1500, mss_bytes=1500.0)
    assert found == pytest.approx(1.44e9, rel=1e-6)


@pytest.mark.parametrize(("n_packets", "rounds"), [(10, 1), (100, 4), (1000, 7)])
def test_slow_start_takes_as_many_rounds_as_its_windows_add_up_to(n_packets, rounds):
    # N. Cardwell, S. Savage, T. Anderson, INFOCOM 2000 (from memory): ceil(log2(n / 10 + 1))
    paths = CapacityPaths.from_rates([1e15])
    time_s = transfer_times_s(paths, [0.0], n_packets * 1448, 0.1, handshake_round_trips=0)
    assert time_s[0] / 0.1 == pytest.approx(rounds, abs=1e-3)
