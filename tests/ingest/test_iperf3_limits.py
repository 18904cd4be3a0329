"""What held the sender back decides whether a sample is the link's rate or a lower bound."""

import pytest

from linkfit.ingest.iperf3_bins import Bin
from linkfit.ingest.iperf3_limits import note_traps, saturating
from linkfit.ingest.iperf3_run import Interval, Run, Totals
from linkfit.ingest.notes import Notes

MEGABIT_BYTES = 125_000


def bins(*rates_mbps, **more):
    return [
        Bin(start_s=i, duration_s=1.0, n_bytes=rate * MEGABIT_BYTES, **more)
        for i, rate in enumerate(rates_mbps)
    ]


def flags(run, samples, near=()):
    notes = Notes("test")
    return saturating(run, samples, list(near), notes), [f.kind for f in notes.findings]


def tcp(**more):
    return Run(format="iperf3 JSON", transport="tcp", **more)


def udp(**more):
    return Run(format="iperf3 JSON", transport="udp", **more)


@pytest.mark.parametrize(
    ("run", "expected"),
    [
        (tcp(target_bps=0.0), [True, True]),  # as fast as it goes
        (tcp(target_bps=None), [True, True]),  # not said: TCP does by default
        (tcp(target_bps=6e6), [True, False]),  # the second got what it asked for
        (tcp(target_bps=5e6), [True, False]),
        (udp(target_bps=6e6), [True, False]),
        (udp(target_bps=None), [False, False]),  # not said: UDP is paced by default
        (udp(target_bps=0.0), [True, True]),
    ],
)
def test_a_sample_below_the_asked_rate_is_the_links(run, expected):
    assert flags(run, bins(2.0, 6.0))[0] == expected


def test_the_rate_is_asked_of_each_stream():
    assert flags(tcp(target_bps=5e6), bins(10.0, n_streams=4))[0] == [True]
    assert flags(tcp(target_bps=5e6), bins(20.0, n_streams=4))[0] == [False]


def test_blocks_that_moved_to_the_next_interval_do_not_make_it_the_links():
    assert flags(tcp(target_bps=5e6, block_bytes=131072), bins(3.5))[0] == [False]
    assert flags(tcp(target_bps=5e6, block_bytes=8192), bins(3.5))[0] == [True]


def test_overrun_and_short_samples():
    assert flags(udp(target_bps=None), bins(5.0, is_overrun=True))[0] == [True]
    assert flags(tcp(target_bps=0.0), bins(5.0, is_short=True))[0] == [False]


def test_a_transfer_below_ten_kilobytes_is_a_lower_bound():
    assert flags(tcp(target_bps=0.0), bins(0.05)) == ([False], ["transfer too small"])


def near(rtt_s, peer_window_bytes=0.0, congestion_window_bytes=0.0):
    return Interval(
        start_s=0.0, duration_s=1.0, n_bytes=1, is_up=True, is_sender=True, rtt_s=rtt_s,
        peer_window_bytes=peer_window_bytes, congestion_window_bytes=congestion_window_bytes,
    )  # fmt: skip


def test_a_set_window_that_binds():
    """RFC 6349 section 3.3.1: 16 KB at 10 ms allow 12.8 Mbit/s."""
    run = tcp(target_bps=0.0, window_bytes=16_000)
    assert flags(run, bins(12.8, 12.8), [near(0.010)]) == ([False, False], ["window limited"])
    assert flags(run, bins(5.0), [near(0.010)])[0] == [True]
    assert flags(run, bins(12.8))[0] == [True]  # without a round trip nothing is known


def test_the_peers_window_binds_only_below_the_congestion_window():
    run = tcp(target_bps=0.0)
    wide = near(0.1, peer_window_bytes=65_535, congestion_window_bytes=100_000)
    narrow = near(0.1, peer_window_bytes=65_535, congestion_window_bytes=60_000)
    assert flags(run, bins(5.2), [wide]) == ([False], ["window limited"])
    assert flags(run, bins(5.2), [narrow]) == ([True], [])


def traps(run, samples, **totals):
    notes = Notes("test")
    note_traps(run, samples, Totals(is_up=True, **totals), [True] * len(samples), notes)
    return {f.kind: f for f in notes.findings}


def test_a_plateau_where_no_rate_is_said_is_noticed():
    level = bins(1.04, 1.04, 1.041, 1.04, 0.5, 1.04)
    assert traps(tcp(), level)["plateau"].n_samples == 5
    assert "plateau" not in traps(tcp(), bins(1.0, 2.0, 3.0, 2.5, 1.5, 0.5))
    assert "plateau" not in traps(tcp(target_bps=0.0), level)


def test_blocks_that_are_coarse_for_the_rate_are_noticed():
    assert "coarse counting" in traps(tcp(target_bps=0.0, block_bytes=131072), bins(1.0, 2.0))
    assert "coarse counting" not in traps(tcp(target_bps=0.0, block_bytes=131072), bins(50.0))


def test_lost_datagrams_and_jitter_are_told_by_direction():
    found = traps(udp(target_bps=1e6), bins(1.0), n_datagrams=850, n_lost=17, jitter_s=0.0012)
    assert "17 of 850 datagrams lost (2 %), jitter 1.2 ms" in found["datagrams up"].text


def test_what_still_waited_in_buffers_is_noticed():
    found = traps(tcp(target_bps=0.0), bins(5.0), sent_bytes=12e6, received_bytes=11e6)
    assert "1.00 MB" in found["sender counted more than arrived"].text
    assert not traps(tcp(target_bps=0.0), bins(5.0), sent_bytes=11.1e6, received_bytes=11e6)
