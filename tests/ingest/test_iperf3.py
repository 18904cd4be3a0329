"""iperf3 files of every shape to a Trace."""

import json
import re

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import InputError, TraceError
from linkfit.ingest.iperf3 import looks_like_iperf3, read_iperf3
from linkfit.ingest.trace import TRANSPORTS

MEGABIT_BYTES = 125_000


def report(rates_mbps, *, sender=True, host="relay.example", **more):
    intervals = [
        {"streams": [], "sum": {"start": s, "end": s + 1, "seconds": 1, "omitted": False,
                                "bytes": int(rate * MEGABIT_BYTES), "sender": sender}}
        for s, rate in enumerate(rates_mbps)
    ]  # fmt: skip
    start = {
        "timestamp": {"timesecs": 1782907200},
        "connecting_to": {"host": host, "port": 5201},
        "test_start": {"protocol": "TCP", "reverse": int(not sender), "target_bitrate": 0},
    }
    return {"start": start, "intervals": intervals, "end": {}, **more}


def refused(text):
    return {"start": {"version": "iperf 3.12"}, "intervals": [], "end": {}, "error": text}


def read(*documents, **options):
    text = "\n".join(json.dumps(document) for document in documents)
    return read_iperf3(text, "kestrel.json", "abc", **options)


def test_a_plain_uplink_test():
    trace = read(report([1.0, 6.0, 5.5]))
    assert_allclose(trace.throughput.rates_bps, [6e6, 5.5e6])
    assert_array_equal(trace.throughput.start_s, [1782907201, 1782907202])
    assert trace.throughput.is_up.all()
    assert trace.throughput.saturating.all()
    (source,) = trace.sources
    assert (source.name, source.format, source.sha256) == ("kestrel.json", "iperf3 JSON", "abc")
    assert (source.peer, source.has_clock) == ("relay.example", True)


def test_direction_says_where_the_link_is():
    """A client outside that pulls from the site with -R uses the link's up."""
    assert read(report([1, 6, 6], sender=False), direction="up").throughput.is_up.all()
    assert not read(report([1, 6, 6]), direction="down").throughput.is_up.any()
    with pytest.raises(InputError, match="direction: expected 'up' or 'down', got 'out'"):
        read(report([1, 6]), direction="out")


def test_direction_is_refused_for_a_two_way_test():
    both = report([1, 6, 6])
    for entry in both["intervals"]:
        entry["sum_bidir_reverse"] = {**entry["sum"], "sender": False}
    assert_array_equal(read(both).throughput.is_up, [True, True, False, False])
    with pytest.raises(TraceError, match=r"kestrel.json: expected a one-way test.*both ways"):
        read(both, direction="up")


def test_tests_of_one_file_are_sources_and_errors_among_them_are_counted():
    trace = read(report([1, 6]), refused("the server is busy"), report([1, 7], host="b.example"))
    assert [s.name for s in trace.sources] == ["kestrel.json test 1", "kestrel.json test 3"]
    assert [s.peer for s in trace.sources] == ["relay.example", "b.example"]
    assert_array_equal(trace.throughput.source, [0, 1])
    skipped = trace.repairs[-1]
    assert (skipped.kind, skipped.source) == ("error report skipped", "kestrel.json test 2")
    assert "the server is busy" in skipped.text


def test_a_file_that_holds_only_errors_is_refused_with_iperf3s_words():
    with pytest.raises(TraceError, match=r"got only iperf3's error 'no route'.*iperf3 -J -c"):
        read(refused("no route"))
    with pytest.raises(TraceError, match=r"got only iperf3's error 'unable to.*iperf3 -J -c"):
        read_iperf3("iperf3: error - unable to connect to server\n", "a.txt", "")


@pytest.mark.parametrize("text", ["", "{", '{"start": {}}', "hello", '{"intervals": []}'])
def test_a_file_without_intervals_is_refused(text):
    with pytest.raises(TraceError, match=r"a.json: expected an iperf3 test with at least one"):
        read_iperf3(text, "a.json", "")


def test_a_test_that_only_filled_a_buffer_is_refused_alone_and_counted_among_others():
    tiny = report([1])
    tiny["intervals"][0]["sum"].update(seconds=0.0003, end=0.0003, bytes=131072)
    with pytest.raises(TraceError, match="at least one usable interval, got 1 without"):
        read(tiny)
    trace = read(tiny, report([1, 6]))
    assert trace.repairs[-1].kind == "test without samples skipped"
    assert "filled its own buffer" in trace.repairs[-1].text


def test_every_prefix_gives_the_first_samples_or_a_trace_error():
    text = json.dumps(report([1, 6, 5, 4]), indent=1)
    whole_bps = read_iperf3(text, "a", "").throughput.rates_bps
    kept_bps = [1e6, *whole_bps]  # the first second is kept while it is the only one
    for end in range(len(text)):
        try:
            found_bps = read_iperf3(text[:end], "a", "").throughput.rates_bps
        except TraceError:
            continue
        assert list(found_bps) in (kept_bps[:1], kept_bps[1:2], kept_bps[1:3], kept_bps[1:4])


def test_hostile_names_are_data():
    name = "\x1b]0;owned\x07<script>=1+1"
    assert read(report([1, 6], host=name)).sources[0].peer == name


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        (json.dumps(report([1])), True),
        (json.dumps([report([1])], indent=2), True),
        ('{\n\t"start":\t{\n\t\t"connected":\t[{', True),
        ('{"event":"interval","data":{"streams":[', True),
        ("warning: text of a script\n" + json.dumps(report([1])), True),
        ("iperf3: error - unable to connect to server: Connection refused\n", True),
        ('{"start": "2026-07-01T12:00:00Z", "bits": 5}', False),  # somebody's own records
        ('{"event": "boot", "data": {}}', False),
        ("start,end,bytes\n0,1,5\n", False),
        ("", False),
    ],
)
def test_what_looks_like_iperf3(head, expected):
    assert looks_like_iperf3(head) is expected


def found(shared_traces, name):
    text = (shared_traces / "iperf3" / name).read_text(encoding="utf-8")
    assert looks_like_iperf3(text[:4096]), name
    return read_iperf3(text, name, "")


# up and down samples, how many of them saturate, round trips
EXPECTED = {
    "tcp_v3.0.11.json": (12, 0, 12, 0),
    "tcp_4_streams_v3.6.json": (59, 0, 59, 59),
    "server_side_list_v3.6.json": (0, 19, 9, 9),
    "json_stream_interval_lines/TCP_BIDIR_single.jsonl": (1, 1, 2, 1),
    "json_stream_interval_lines/TCP_DL_single.jsonl": (0, 1, 1, 0),
    "json_stream_interval_lines/TCP_UL_single.jsonl": (1, 0, 1, 1),
    "json_stream_interval_lines/UDP_BIDIR_single.jsonl": (1, 1, 0, 0),
    "json_stream_interval_lines/UDP_DL_single.jsonl": (0, 1, 0, 0),
    "json_stream_interval_lines/UDP_UL_single.jsonl": (1, 0, 0, 0),
    "loopback/error_server_terminated_midtest.json": (1, 0, 0, 1),
    "loopback/tcp_P4_5M_3s.json": (2, 0, 0, 2),
    "loopback/tcp_bidir_10M_3s.json": (2, 2, 0, 2),
    "loopback/tcp_get_server_output_2s.json": (1, 0, 0, 1),
    "loopback/tcp_i0.1_2s.json": (1, 0, 0, 1),
    "loopback/tcp_i0_2s.json": (1, 0, 0, 1),
    "loopback/tcp_n2M.json": (1, 0, 0, 1),
    "loopback/tcp_omit1_3s.json": (3, 0, 0, 3),
    "loopback/tcp_reverse_20M_3s.json": (0, 2, 0, 0),
    "loopback/tcp_up_20M_3s.json": (2, 0, 0, 2),
    "loopback/udp_bidir_5M_3s.json": (3, 3, 0, 0),
    "loopback/udp_reverse_5M_3s.json": (0, 3, 0, 0),
    "loopback/udp_up_5M_3s.json": (3, 0, 0, 0),
    "loopback/text_tcp_2s.txt": (1, 0, 1, 0),
    "loopback/text_udp_2s.txt": (2, 0, 0, 0),
    "loopback/text_bidir_2s.txt": (1, 1, 2, 0),
}


@pytest.mark.shared
@pytest.mark.parametrize("name", EXPECTED)
def test_files_of_every_shape(shared_traces, name):
    trace = found(shared_traces, name)
    up = trace.throughput.is_up
    counts = (up.sum(), (~up).sum(), trace.throughput.saturating.sum(), len(trace.latency))
    assert counts == EXPECTED[name]
    assert trace.throughput.duration_s.min() >= 0.95


@pytest.mark.shared
@pytest.mark.parametrize(
    ("name", "rate_mbps"),
    [("tcp_up_20M_3s", 20), ("tcp_P4_5M_3s", 20), ("tcp_i0.1_2s", 5), ("tcp_i0_2s", 5),
     ("udp_up_5M_3s", 5), ("udp_reverse_5M_3s", 5), ("tcp_omit1_3s", 10), ("tcp_n2M", 10)],
)  # fmt: skip
def test_loopback_tests_reach_the_rate_that_was_asked(shared_traces, name, rate_mbps):
    """Nothing but the asked rate limits loopback; blocks of 128 KiB are 5 % of 20 Mbit."""
    throughput = found(shared_traces, f"loopback/{name}.json").throughput
    mean_bps = throughput.bits.sum() / throughput.duration_s.sum()
    assert mean_bps == pytest.approx(rate_mbps * 1e6, rel=0.06)


@pytest.mark.shared
@pytest.mark.parametrize(
    "name", ["error_connection_refused.json", "error_dns.json", "error_server_busy.json",
             "text_error_refused.txt"],
)  # fmt: skip
def test_error_files_are_refused_with_iperf3s_words(shared_traces, name):
    text = (shared_traces / "iperf3/loopback" / name).read_text(encoding="utf-8")
    told = re.search(r'"error":\s*"([^"]*)"|error - (.*)', text)
    with pytest.raises(TraceError, match=re.escape(told[1] or told[2])):
        read_iperf3(text, name, "")


@pytest.mark.shared
def test_four_streams_add_up_to_iperf3s_own_total(shared_traces):
    path = shared_traces / "iperf3/tcp_4_streams_v3.6.json"
    document = json.loads(path.read_text(encoding="utf-8"))
    trace = found(shared_traces, path.name)
    dropped = document["intervals"][0]["sum"]["bytes"]
    sent = document["end"]["sum_sent"]["bytes"]
    assert trace.throughput.bits.sum() == 8 * (sent - dropped)
    assert set(trace.throughput.n_streams) == {4}
    assert 1e-5 < np.median(trace.latency.rtt_s) < 5e-4  # microseconds in the file


@pytest.mark.shared
def test_the_server_list_is_one_source_a_test(shared_traces):
    trace = found(shared_traces, "server_side_list_v3.6.json")
    assert [s.peer for s in trace.sources] == ["192.168.250.1"] * 2
    assert_array_equal(
        np.unique(trace.throughput.transport), [TRANSPORTS.index("tcp"), TRANSPORTS.index("udp")]
    )
    assert "plateau" in {f.kind for f in trace.findings}


@pytest.mark.shared
def test_hundreds_of_repeated_uplink_tests(shared_traces):
    """Version 3.7 on a desktop without round trips: rates near the receiver's own total."""
    paths = sorted((shared_traces / "iperf3/repeated-uplink").rglob("*.json"))
    assert len(paths) > 300
    for path in paths[::5]:
        text = path.read_text(encoding="utf-8")
        trace = read_iperf3(text, path.name, "")
        document = json.loads(text)
        assert len(trace.throughput) == len(document["intervals"]) - 1
        assert trace.throughput.is_up.all()
        assert trace.throughput.saturating.all()
        assert len(trace.latency) == 0
        kept = sum(i["sum"]["bytes"] for i in document["intervals"][1:])
        assert trace.throughput.bits.sum() == 8 * kept
        assert document["end"]["sum_received"]["bytes"] <= kept * 1.3
