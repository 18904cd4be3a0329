"""iperf3's printed text, as versions 3.1 to 3.12 print it."""

import pytest

from linkfit.ingest.iperf3_text import looks_like_text, read_runs

CLIENT = """\
Connecting to host relay.example, port 5201
[  5] local 192.0.2.7 port 37542 connected to 192.0.2.9 port 5201
[ ID] Interval           Transfer     Bitrate         Retr  Cwnd
[  5]   0.00-1.00   sec   640 KBytes  5.24 Mbits/sec    0   1.12 MBytes
[  5]   1.00-2.00   sec  1.25 MBytes  10.5 Mbits/sec    0   1.12 MBytes
- - - - - - - - - - - - - - - - - - - - - - - - -
[ ID] Interval           Transfer     Bitrate         Retr
[  5]   0.00-2.00   sec  1.88 MBytes  7.86 Mbits/sec    0             sender
[  5]   0.00-2.00   sec  1.75 MBytes  7.34 Mbits/sec                  receiver

iperf Done.
"""


def only(text):
    (run,) = read_runs(text.splitlines())
    return run


def test_bytes_are_binary_and_totals_are_no_intervals():
    run = only(CLIENT)
    assert [i.n_bytes for i in run.intervals] == [640 * 1024, 1.25 * 1024**2]
    assert [(i.start_s, i.duration_s) for i in run.intervals] == [(0, 1), (1, 1)]
    assert (run.transport, run.peer, run.is_server) == ("tcp", "relay.example", False)
    assert (run.started_s, run.target_bps) == (None, None)
    (total,) = run.totals
    assert (total.sent_bytes, total.received_bytes) == (1.88 * 1024**2, 1.75 * 1024**2)
    assert all(i.is_up and i.is_sender for i in run.intervals)


def test_reverse_is_down():
    run = only(CLIENT.replace("[  5] local", "Reverse mode, remote host x is sending\n[  5] local"))
    assert not any(i.is_up or i.is_sender for i in run.intervals)


def test_a_server_that_receives_is_the_clients_up():
    text = "Accepted connection from 192.0.2.7, port 4\n" + CLIENT.split("\n", 1)[1]
    received = only(text.replace("Retr  Cwnd", ""))
    assert all(i.is_up and not i.is_sender for i in received.intervals)
    assert received.peer == "192.0.2.7"
    sent = only(text)  # its columns are those of a sender
    assert all(not i.is_up and i.is_sender for i in sent.intervals)


def test_two_way_roles():
    rows = (
        "[  5][TX-C]   0.00-1.00   sec   640 KBytes  5.24 Mbits/sec    0   1.12 MBytes\n"
        "[  7][RX-C]   0.00-1.00   sec   320 KBytes  2.62 Mbits/sec\n"
    )
    run = only("Connecting to host a, port 5201\n" + rows)
    assert [(i.is_up, i.n_bytes) for i in run.intervals] == [(True, 655360), (False, 327680)]


def test_parallel_streams_count_once_by_their_sum():
    row = "[  {}]   0.00-1.00   sec   384 KBytes  3.15 Mbits/sec    0   1.12 MBytes\n"
    rows = row.format(5) + row.format(7)
    summed = rows + "[SUM]   0.00-1.00   sec   768 KBytes  6.29 Mbits/sec    0\n"
    for text in (rows, summed):
        (interval,) = only(text).intervals
        assert (interval.n_bytes, interval.n_streams) == (768 * 1024, 2)


def test_udp_columns():
    run = only(
        "Connecting to host a, port 5201\nReverse mode, remote host a is sending\n"
        "[ ID] Interval           Transfer     Bitrate         Jitter    Lost/Total Datagrams\n"
        "[  5]   0.00-1.00   sec   640 KBytes  5.24 Mbits/sec  0.029 ms  3/20 (15%)\n"
        "[  5]   0.00-2.00   sec  1.22 MBytes  5.11 Mbits/sec  0.000 ms  0/39 (0%)  sender\n"
        "[  5]   0.00-2.00   sec  1.22 MBytes  5.11 Mbits/sec  0.007 ms  4/39 (10%)  receiver\n"
    )
    assert run.transport == "udp"
    (interval,) = run.intervals
    assert (interval.n_datagrams, interval.n_lost) == (20, 3)
    (total,) = run.totals
    assert (total.n_datagrams, total.n_lost, total.jitter_s) == (39, 4, 0.007e-3)


def test_totals_of_old_versions_have_no_name_and_are_told_by_their_length():
    rows = [f"[  4]   {s}.00-{s + 1}.00   sec   128 KBytes  1.05 Mbits/sec  16\n" for s in range(3)]
    rows.append("[  4]   0.00-3.00   sec   384 KBytes  1.05 Mbits/sec  0.01 ms  0/48 (0%)\n")
    assert len(only("".join(rows)).intervals) == 3


def test_verbose_output_says_time_rate_and_blocks():
    head = (
        "Time: Wed, 01 Jul 2026 12:00:00 GMT\n      Target Bitrate: 3000000\n"
        "Starting Test: protocol: UDP, 2 streams, 1448 byte blocks, omitting 1 seconds\n"
    )
    run = only(head + CLIENT)
    assert (run.started_s, run.target_bps) == (1782907200.0, None)  # the rate is of another test
    run = only(CLIENT.replace("[  5] local", head + "[  5] local", 1))
    assert (run.target_bps, run.block_bytes) == (3e6, 1448)


def test_omitted_and_repeated_rows():
    row = "[  5]   0.00-1.00   sec   640 KBytes  5.24 Mbits/sec    0   1.12 MBytes"
    run = only(f"{row}       (omitted)\n{row}\n{row}\n")
    assert [i.is_omitted for i in run.intervals] == [True, False]
    assert run.repairs[0].kind == "interval printed twice"


def test_a_row_that_rounds_to_no_time_takes_it_from_bytes_and_rate():
    run = only("[  5]   2.00-2.00   sec   128 KBytes  10.0 Mbits/sec\n")
    assert run.intervals[0].duration_s == pytest.approx(128 * 1024 * 8 / 10e6)
    assert not read_runs(["[  5]   2.00-2.00   sec  0.00 Bytes  0.00 bits/sec"])[0].intervals


def test_errors_and_several_tests():
    runs = read_runs((CLIENT + CLIENT + "iperf3: error - the server has terminated\n").splitlines())
    assert [run.error for run in runs] == ["", "the server has terminated"]
    assert only("iperf3: error - unable to connect\n").error == "unable to connect"


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        (CLIENT, True),
        ("iperf3: error - unable to connect to server: Connection refused\n", True),
        ("Wed Nov 25 2026 " + CLIENT.splitlines()[3], True),  # --timestamps
        ("time,rate\n0,5\n", False),
        ("64 bytes from 192.0.2.7: icmp_seq=1 ttl=58 time=9 ms\n", False),
    ],
)
def test_what_looks_like_it(head, expected):
    assert looks_like_text(head) is expected
