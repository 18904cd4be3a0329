"""Ping text: whole files of every dialect, and random runs written out and read back."""

import math
import re

import jc
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import TraceError
from linkfit.ingest.ping import looks_like_ping, read_ping

WINDOWS = """
Pinging cam.example [192.0.2.7] with 32 bytes of data:
Reply from 192.0.2.7: bytes=32 time=31ms TTL=58
Request timed out.
Reply from 192.0.2.1: Destination host unreachable.
Reply from 192.0.2.7: bytes=32 time<1ms TTL=58

Ping statistics for 192.0.2.7:
    Packets: Sent = 4, Received = 3, Lost = 1 (25% loss),
Approximate round trip times in milli-seconds:
    Minimum = 0ms, Maximum = 31ms, Average = 15ms
"""


def test_windows_counts_an_unreachable_host_as_received_and_linkfit_does_not():
    trace = read_ping(WINDOWS, "w.txt", "")
    assert_array_equal(trace.latency.rtt_s, [0.031, np.inf, np.inf, 0.0005])
    assert trace.sources[0].peer == "192.0.2.7"
    assert trace.findings[0].kind == "summary contradicts the lines"


@pytest.mark.parametrize("end", ["\r\n", "\r\r\n", "\n\n"])
def test_line_ends_do_not_matter(end):
    latency = read_ping(WINDOWS.replace("\n", end), "w.txt", "").latency
    assert_array_equal(latency.rtt_s, [0.031, np.inf, np.inf, 0.0005])


def test_windows_with_every_probe_lost_in_an_unknown_language():
    text = "Pinging 192.0.2.7 with 32 bytes of data:\n" + "Xyz wvu.\n" * 4
    text += "\nXyz 192.0.2.7:\n    Abc: De = 4, Fg = 0, Hi = 4 (100% jk),\n"
    assert_array_equal(read_ping(text, "w.txt", "").latency.rtt_s, [np.inf] * 4)
    assert looks_like_ping(text)


def test_several_runs_in_one_file_are_several_sources():
    text = WINDOWS + "\n" + "PING a (192.0.2.9): 56 data bytes\n"
    text += "64 bytes from 192.0.2.9: seq=0 ttl=58 time=9.000 ms\n" * 1
    trace = read_ping(text, "log.txt", "abc")
    assert [s.name for s in trace.sources] == ["log.txt run 1", "log.txt run 2"]
    assert {s.sha256 for s in trace.sources} == {"abc"}
    assert_array_equal(trace.latency.source, [0, 0, 0, 0, 1])


def test_lines_may_be_streamed():
    assert len(read_ping(iter(WINDOWS.splitlines(keepends=True)), "w.txt", "").latency) == 4


def test_hostile_names_are_data():
    name = "\x1b]0;owned\x07<script>"
    text = f"PING {name} (192.0.2.7) 56(84) bytes of data.\n"
    text += f"64 bytes from {name} (192.0.2.7): icmp_seq=1 ttl=58 time=9 ms\n"
    assert read_ping(text, "h.txt", "").sources[0].peer == name


@pytest.mark.parametrize(
    "text",
    [
        "",
        "ping: cam.example: Temporary failure in name resolution\n",
        "hello\nworld\n",
        "PING cam.example (192.0.2.7) 56(84) bytes of data.\n",
        "4 packets transmitted, 4 received, 0% packet loss, time 3ms\n",  # and no times
    ],
)
def test_text_without_a_measurement_is_refused_and_quoted(text):
    first = re.escape(text.splitlines()[0][:40]) if text else "''"
    with pytest.raises(TraceError, match=f"bad.txt: expected ping output.*{first}"):
        read_ping(text, "bad.txt", "")


def test_numbers_of_any_length_are_survived():
    nines = "9" * 400
    text = f"PING a (192.0.2.7): {nines} data bytes\n64 bytes: seq={nines} ttl=5 time=1 ms\n"
    text += f"64 bytes: seq=0 ttl=5 time={nines} ms\n64 bytes: seq=1 ttl=5 time=9 ms\n"
    text += f"round-trip min/avg/max = {nines}/{nines}/{nines} ms\n"
    assert_allclose(read_ping(text, "n.txt", "").latency.rtt_s, [0.009])


def test_an_unknown_zone_is_refused():
    with pytest.raises(TraceError, match=r"timezone: expected a name.*got 'Mars/Olympus'"):
        read_ping(WINDOWS, "w.txt", "", timezone="Mars/Olympus")


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        (WINDOWS, True),
        ("64 bytes from 192.0.2.7: icmp_seq=1 ttl=58 time=9 ms\n", True),
        ("[1594978465.9] 64 bytes from 192.0.2.7: icmp_seq=1 ttl=58 time=9 ms\n", True),
        ("PING a (192.0.2.7) 56(84) bytes of da", True),
        ('{"start": {"version": "iperf 3.12"}}', False),
        ("time,download,upload\n2026-07-01 12:00:00,1,2\n", False),
        ("time,loss\n2026-07-01T12:00:00Z,5%\n", False),
        ("2026-07-01 12:00:00 download took=12ms: ok\n", False),
        ("host [192.0.2.7] 200 512 GET /\n", False),
        ("12\n13\n14\n", False),
        ("", False),
    ],
)
def test_what_looks_like_ping(head, expected):
    assert looks_like_ping(head) is expected


# one run as a list of round trips in whole milliseconds, None where the probe was lost
runs = st.lists(st.none() | st.integers(1, 9999), min_size=1, max_size=40).filter(any)


def linux(run, first=1, unit=" ms", sign=".", word="icmp_seq"):
    lines = ["PING cam (192.0.2.7) 56(84) bytes of data."]
    for sequence, rtt in enumerate(run, start=first):
        if rtt is not None:
            lines.append(f"64 b: {word}={sequence} ttl=5 time={rtt}{sign}5{unit}")
    n_received = sum(rtt is not None for rtt in run)
    lines.append(f"{len(run)} packets transmitted, {n_received} received, 0% packet loss, time 9ms")
    return lines


def busybox(run):
    lines = linux(run, first=0, word="seq")
    return ["PING cam (192.0.2.7): 56 data bytes", *lines[1:]]


def macos(run):
    lines = ["PING cam (192.0.2.7): 56 data bytes"]
    for sequence, rtt in enumerate(run):
        if rtt is None:
            lines.append(f"Request timeout for icmp_seq {sequence}")
        else:
            lines.append(f"64 bytes from 192.0.2.7: icmp_seq={sequence} ttl=5 time={rtt}.500 ms")
    return lines


def windows(run):
    lines = ["Ping wird ausgeführt für cam [192.0.2.7] mit 32 Bytes Daten:"]
    for rtt in run:
        reply = f"Antwort von 192.0.2.7: Bytes=32 Zeit={rtt},5ms TTL=58"
        lines.append("Zeitüberschreitung der Anforderung." if rtt is None else reply)
    return lines


def stamped(run):
    lines = linux(run)
    return [f"[{1.7e9 + i:.6f}] {line}" for i, line in enumerate(lines)]


@given(runs, st.sampled_from(["linux", "comma", "busybox", "macos", "windows", "stamped"]))
def test_a_random_run_written_in_any_dialect_reads_back(run, dialect):
    write = {
        "linux": linux, "busybox": busybox, "macos": macos, "windows": windows,
        "stamped": stamped, "comma": lambda run: linux(run, sign=","),
    }[dialect]  # fmt: skip
    latency = read_ping("\n".join(write(run)) + "\n", "run.txt", "").latency
    expected = [np.inf if rtt is None else (rtt + 0.5) / 1e3 for rtt in run]
    assert_allclose(latency.rtt_s, expected)
    assert_array_equal(latency.n_lost, np.isinf(expected))


def test_an_unfinished_last_line_says_nothing():
    whole = "\n".join(linux([9, None, 9])[:3]) + "\n"
    for tail in ("no answer yet for icmp_seq=1", "64 bytes from 192.0.2.7: icmp_seq=12 ttl"):
        assert len(read_ping(whole + tail, "cut.txt", "").latency) == 3


@given(runs, st.data())
def test_a_run_cut_anywhere_holds_a_prefix_of_its_answers_and_no_later_loss(run, data):
    text = "\n".join(linux(run))
    cut = text[: data.draw(st.integers(0, len(text)))]
    try:
        rtt_s = read_ping(cut, "cut.txt", "").latency.rtt_s
    except TraceError:
        return
    expected = [np.inf if rtt is None else (rtt + 0.5) / 1e3 for rtt in run]
    assert_allclose(rtt_s, expected[: rtt_s.size])


def oracle(text):
    """What jc makes of a text whose date stamps were taken off."""
    bare = re.sub(r"(?m)^\[\d{4}-[-\d :.]+\] ?|^(Start|End) time.*\n", "", text)
    parsed = jc.parse("ping", bare, quiet=True)
    rtts = {}
    for r in parsed["responses"]:
        if r.get("type") == "reply" and not r.get("duplicate") and "time_ms" in r:
            rtts.setdefault(r["icmp_seq"], r["time_ms"])
    return rtts, parsed["packets_transmitted"], parsed["packets_received"]


@pytest.mark.shared
def test_every_unix_file_agrees_with_jc(shared_traces):
    """jc fails on Windows output and reads "12,3 ms" as 123.0, so it judges only the others."""
    paths = [*shared_traces.glob("ping-text/*/*.out"), *shared_traces.glob("ping-driving/*.txt")]
    assert len(paths) > 130
    for path in paths:
        text = path.read_text(encoding="utf-8")
        rtts, n_sent, n_received = oracle(text)
        assert looks_like_ping(text[:4096]), path
        trace = read_ping(text, path.name, "")
        latency = trace.latency
        answered = latency.rtt_s[np.isfinite(latency.rtt_s)]
        assert_allclose(answered, [rtts[s] / 1e3 for s in sorted(rtts)], err_msg=str(path))
        n_unreadable = sum(
            r.n_samples for r in trace.repairs if r.kind == "unreadable answer left out"
        )
        assert len(latency) + n_unreadable == n_sent, path
        assert latency.n_lost.sum() == n_sent - n_received, path


@pytest.mark.shared
def test_every_windows_file(shared_traces):
    expected_ms = {
        "en/sample1.txt": [564, 555, 554, 548],
        "fr/sample1.txt": [0.5, 0.5, 0.5, 0.5],
        "fr/sample2.txt": [6, 6, 6, 6],
        "ja/sample1.txt": [7, 5, 4, 4],
        "ja/sample2.txt": [4, 4, 5, 6],
    }
    for name, rtts_ms in expected_ms.items():
        text = (shared_traces / "ping-text/windows" / name).read_text(encoding="utf-8")
        assert looks_like_ping(text)
        trace = read_ping(text.replace("\n", "\r\n"), name, "")
        assert_allclose(trace.latency.rtt_s * 1e3, rtts_ms)


@pytest.mark.shared
def test_driving_runs_are_in_utc_and_lie_within_their_start_and_end(shared_traces):
    for path in sorted(shared_traces.glob("ping-driving/*.txt")):
        text = path.read_text(encoding="utf-8")
        start_s = int(re.search(r"Start time: (\d+)", text)[1]) / 1e3
        end_s = int(re.search(r"End time: (\d+)", text)[1]) / 1e3
        time_s = read_ping(text, path.name, "").latency.time_s
        assert start_s - 2 < time_s.min() <= time_s.max() < end_s + 2, path
        assert math.isclose(np.median(np.diff(time_s)), 0.2, abs_tol=0.45), path
