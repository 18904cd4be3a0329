"""Lines of ping output: what they say, told by structure in any language."""

from zoneinfo import ZoneInfo

import pytest

from linkfit.ingest.ping_lines import is_probe_line, read_line

UTC = ZoneInfo("UTC")
LISBON = ZoneInfo("Europe/Lisbon")


@pytest.mark.parametrize(
    ("line", "sequence", "rtt_ms"),
    [
        ("64 bytes from 192.0.2.7: icmp_seq=5 ttl=58 time=12.3 ms", 5, 12.3),  # Linux
        ("64 bytes from 192.0.2.7: seq=0 ttl=58 time=12.345 ms", 0, 12.345),  # BusyBox
        ("64 Bytes von 192.0.2.7: icmp_seq=5 ttl=58 Zeit=12,3 ms", 5, 12.3),  # decimal comma
        ("16 bytes from 2001:db8::1, icmp_seq=3 hlim=64 time=0.071 ms", 3, 0.071),  # BSD, IPv6
        ("64 bytes from fe80::1%eth0: icmp_seq=1 ttl=64 time=382 ms", 1, 382.0),
        ("64 bytes from 192.0.2.7: icmp_seq=2 ttl=64 time=0.043 ms: odd words", 2, 0.043),
        ("Reply from 192.0.2.7: bytes=32 time=564ms TTL=237", None, 564.0),  # Windows
        ("Réponse de 192.0.2.7 : octets=32 temps=6 ms TTL=58", None, 6.0),
        ("Antwort von 192.0.2.7: Bytes=32 Zeit=12ms TTL=58", None, 12.0),
        ("192.0.2.7 からの応答: バイト数 =32 時間 =7ms TTL=55", None, 7.0),
        ("Ответ от 192.0.2.7: число байт=32 время=12мс TTL=58", None, 12.0),
        ("Ответ от 192.0.2.7: число байт=32 время=12¼ß TTL=58", None, 12.0),  # wrong code page
        ("来自 192.0.2.7 的回复: 字节=32 时间=12ms TTL=58", None, 12.0),
        ("Reply from 2001:db8::1: time=12ms", None, 12.0),  # Windows prints no TTL for IPv6
    ],
)
def test_replies_of_all_dialects(line, sequence, rtt_ms):
    read = read_line(line, UTC)
    assert read.kind == "reply"
    assert read.sequence == sequence
    assert read.rtt_s == pytest.approx(rtt_ms / 1e3)
    assert read.is_windows == (sequence is None)
    assert not read.is_below


@pytest.mark.parametrize(
    ("line", "rtt_ms"),
    [
        ("Réponse de 192.0.2.7 : octets=32 temps<1ms TTL=128", 0.5),
        ("64 bytes from 192.0.2.7: icmp_seq=0 ttl=64 time=0.000 ms", 0.0005),
        ("64 bytes from 192.0.2.7: icmp_seq=0 ttl=64 time=0 ms", 0.5),
    ],
)
def test_a_time_below_the_clocks_step_is_half_of_the_step(line, rtt_ms):
    read = read_line(line, UTC)
    assert read.is_below
    assert read.rtt_s == pytest.approx(rtt_ms / 1e3)


@pytest.mark.parametrize(
    ("line", "kind", "sequence"),
    [
        ("no answer yet for icmp_seq=11", "unanswered", 11),
        ("Request timeout for icmp_seq 4", "unanswered", 4),
        ("From 192.0.2.1 icmp_seq=3 Destination Host Unreachable", "unanswered", 3),
        ("From 192.0.2.1 icmp_seq=3 Time to live exceeded", "unanswered", 3),
        ("8 bytes from 192.0.2.7: icmp_seq=3 ttl=58", "answered", 3),  # too small for a time
        ("92 bytes from gw (192.0.2.1): Destination Host Unreachable", "other", None),
        ("64 bytes from 192.0.2.7: icmp_seq=3", "answered", 3),  # damaged
        ("--- cam.example ping statistics ---", "rule", None),
        ("", "other", None),
        ("this is a weird error message", "other", None),
        ("1700000000,12.5,3", "other", None),
    ],
)
def test_lines_without_a_time(line, kind, sequence):
    read = read_line(line, UTC)
    assert (read.kind, read.sequence) == (kind, sequence)


@pytest.mark.parametrize(
    ("line", "n_sent", "n_received", "span_s"),
    [
        ("20 packets transmitted, 19 received, 5% packet loss, time 19067ms", 20, 19, 19.067),
        ("3 packets transmitted, 3 packets received, 0.0% packet loss", 3, 3, None),
        ("2 packets transmitted, 2 received, +19 duplicates, 0% packet loss, time 1s", 2, 2, None),
        ("3 packets transmitted, 0 received, +3 errors, 100% packet loss, time 9ms", 3, 0, 0.009),
        ("4 Pakete übertragen, 3 empfangen, 25% Paketverlust, Zeit 3004ms", 4, 3, 3.004),
        ("    Packets: Sent = 4, Received = 3, Lost = 1 (25% loss),", 4, 3, None),
        ("    パケット数: 送信 = 4、受信 = 3、損失 = 1 (25% の損失)、", 4, 3, None),
        ("    Paket: Giden = 4, Gelen = 3, Kaybolan = 1 (%25 kayıp),", 4, 3, None),
    ],
)
def test_counts_of_all_dialects(line, n_sent, n_received, span_s):
    read = read_line(line, UTC)
    assert read.kind == "counts"
    assert (read.n_sent, read.n_received, read.span_s) == (n_sent, n_received, span_s)


@pytest.mark.parametrize(
    ("line", "mean_ms", "spread_ms"),
    [
        ("rtt min/avg/max/mdev = 28.960/34.468/38.892/3.497 ms", 34.468, 3.497),
        ("rtt min/avg/max/mdev = 0,586/504,260/1276,448/417,208 ms, pipe 2", 504.26, 417.208),
        ("round-trip min/avg/max = 11.3/13.5/15.7 ms", 13.5, 0.0),  # BusyBox
    ],
)
def test_round_trips_of_the_summary(line, mean_ms, spread_ms):
    read = read_line(line, UTC)
    assert read.kind == "round trips"
    assert read.rtt_s == pytest.approx(mean_ms / 1e3)
    assert read.spread_s == pytest.approx(spread_ms / 1e3)


def test_the_three_times_of_the_windows_summary_are_no_reply():
    assert read_line("Minimum = 0ms, Maximum = 0ms, Moyenne = 0ms", UTC).kind == "other"


@pytest.mark.parametrize(
    ("line", "peer", "is_windows", "from_zero"),
    [
        ("PING cam.example (192.0.2.7) 56(84) bytes of data.", "cam.example", False, False),
        ("PING cam.example (192.0.2.7): 56 data bytes", "cam.example", False, True),
        ("PING 2001:db8::1(2001:db8::1) 56 data bytes", "2001:db8::1", False, False),
        ("PING6(56=40+8+8 bytes) ::1 --> 2001:db8::1", "2001:db8::1", False, True),
        ("PING  (192.0.2.7) 56(84) bytes of data.", "192.0.2.7", False, False),
        ("PING \x1b[31mred (192.0.2.7) 56(84) bytes of data.", "\x1b[31mred", False, False),
        ("Pinging cam.example [192.0.2.7] with 32 bytes of data:", "192.0.2.7", True, False),
        ("Обмен пакетами с 192.0.2.7 по с 32 байтами данных:", "192.0.2.7", True, False),
        ("8.8.8.8 に ping を送信しています 32 バイトのデータ:", "8.8.8.8", True, False),
    ],
)
def test_headers_of_all_dialects(line, peer, is_windows, from_zero):
    read = read_line(line, UTC)
    assert read.kind == "header"
    assert (read.peer, read.is_windows, read.from_zero) == (peer, is_windows, from_zero)


REPLY = "64 bytes from 192.0.2.7: icmp_seq=1 ttl=58 time=12.3 ms"


@pytest.mark.parametrize(
    ("stamp", "zone", "time_s"),
    [
        ("[1594978465.914536] ", UTC, 1594978465.914536),  # ping -D
        ("[2026-07-01 12:00:00.250000] ", UTC, 1782907200.25),
        ("[2026-07-01 12:00:00.250000] ", LISBON, 1782903600.25),  # summer time: UTC+1
        ("2026-07-01T12:00:00.25+02:00 ", LISBON, 1782900000.25),  # says its own zone
        ("2026-07-01T12:00:00Z ", LISBON, 1782907200.0),
        ("2026-02-31 12:00:00 ", UTC, None),  # no such day
        ("", UTC, None),
    ],
)
def test_stamps(stamp, zone, time_s):
    read = read_line(stamp + REPLY, zone)
    assert read.kind == "reply"
    assert read.time_s == (None if time_s is None else pytest.approx(time_s, abs=1e-6))


def test_a_labelled_start_is_read_in_seconds_or_milliseconds():
    assert read_line("Start time: 1683989057023", UTC).time_s == pytest.approx(1683989057.023)
    assert read_line("Start time: 1683989057", UTC).time_s == 1683989057


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Request timed out.", True),
        ("Zeitüberschreitung der Anforderung.", True),
        ("Reply from 192.0.2.1: Destination host unreachable.", True),
        ("General failure.", True),
        ("Ping statistics for 192.0.2.7:", False),
        ("Approximate round trip times in milli-seconds:", False),
        ("C:\\Users\\dig>", False),
        ("", False),
    ],
)
def test_what_windows_prints_for_a_lost_probe(line, expected):
    read = read_line(line, UTC)
    assert read.kind == "other"
    assert is_probe_line(read) is expected


def test_a_line_of_a_megabyte_is_cut_before_it_is_searched():
    assert read_line("192.0.2.7 " + "1 " * 500_000 + ":", UTC).kind in ("other", "header")
