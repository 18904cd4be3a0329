"""iperf3 JSON: versions, ends, streams of events, files cut short, hostile values."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import TraceError
from linkfit.ingest.iperf3 import read_iperf3
from linkfit.ingest.iperf3_json import read_runs


def total(start_s, n_bytes, **more):
    return {"start": start_s, "end": start_s + 1, "seconds": 1, "bytes": n_bytes, **more}


def entry(start_s, n_bytes=1000, *, name="sum", n_streams=1, stream=None, **more):
    streams = [total(start_s, n_bytes // n_streams, **more, **(stream or {}))] * n_streams
    return {"streams": streams, name: total(start_s, n_bytes, **more)}


def report(*intervals, start=None, test=None, **more):
    test = {"protocol": "TCP", "num_streams": 1, "blksize": 131072, "reverse": 0, **(test or {})}
    start = {
        "connected": [{"socket": 5, "remote_host": "192.0.2.9", "remote_port": 5201}],
        "version": "iperf 3.12",
        "timestamp": {"timesecs": 1782907200},
        "connecting_to": {"host": "relay.example", "port": 5201},
        "test_start": test,
        **(start or {}),
    }
    return {"start": start, "intervals": list(intervals), "end": {}, **more}


def only(document):
    (run,) = read_runs(json.dumps(document))
    return run


def test_what_the_start_says():
    test = {"target_bitrate": 5_000_000}
    run = only(report(entry(0, sender=True), start={"sock_bufsize": 8192}, test=test))
    assert (run.transport, run.peer, run.started_s) == ("tcp", "relay.example", 1782907200)
    assert (run.target_bps, run.window_bytes, run.block_bytes) == (5e6, 8192, 131072)
    assert not run.is_server


@pytest.mark.parametrize(
    ("start", "test", "expected"),
    [
        ({}, {}, None),  # before 3.7 it was not said
        ({}, {"target_bitrate": 0}, 0),
        ({"target_bitrate": 2e6}, {}, 2e6),
        ({}, {"target_bitrate": 0, "fqrate": 3e6}, 3e6),  # --fq-rate
        ({}, {"target_bitrate": 5e6, "fqrate": 3e6}, 3e6),
    ],
)
def test_the_asked_rate(start, test, expected):
    assert only(report(entry(0), start=start, test=test)).target_bps == expected


SERVER = {"accepted_connection": {"host": "192.0.2.7", "port": 4}}


@pytest.mark.parametrize(
    ("start", "reverse", "sender", "is_up", "is_sender"),
    [
        ({}, 0, True, True, True),
        ({}, 1, False, False, False),
        (SERVER, 0, False, True, False),  # what the server receives is the client's up
        (SERVER, 1, True, False, True),
        ({}, 0, None, True, True),  # before 3.7 the end that sends went without saying
        ({}, 1, None, False, False),
        (SERVER, 0, None, True, False),
        (SERVER, 1, None, False, True),
    ],
)
def test_directions(start, reverse, sender, is_up, is_sender):
    more = {} if sender is None else {"sender": sender}
    run = only(report(entry(0, **more), start=start, test={"reverse": reverse}))
    assert [(i.is_up, i.is_sender) for i in run.intervals] == [(is_up, is_sender)]
    assert run.is_server == bool(start)


def test_two_way_test():
    both = {
        "streams": [total(0, 1000, sender=True, rtt=50_000), total(0, 600, sender=False)],
        "sum": total(0, 1000, sender=True),
        "sum_bidir_reverse": total(0, 600, sender=False),
    }
    end = {
        "sum_sent": total(0, 1000), "sum_received": total(0, 900),
        "sum_sent_bidir_reverse": total(0, 700), "sum_received_bidir_reverse": total(0, 600),
    }  # fmt: skip
    run = only(report(both, end=end))
    assert [(i.is_up, i.n_bytes, i.n_streams, i.rtt_s) for i in run.intervals] == [
        (True, 1000, 1, pytest.approx(0.05)),
        (False, 600, 1, 0.0),
    ]
    assert [(t.is_up, t.sent_bytes, t.received_bytes) for t in run.totals] == [
        (True, 1000, 900),
        (False, 700, 600),
    ]


def test_streams_give_the_mean_round_trip_in_seconds_and_the_sum_of_windows():
    run = only(report(entry(0, 4000, n_streams=4, stream={"rtt": 60_000, "snd_wnd": 10})))
    (interval,) = run.intervals
    assert (interval.n_streams, interval.peer_window_bytes) == (4, 40)
    assert interval.rtt_s == pytest.approx(0.06)


def test_udp_totals_of_new_and_old_versions():
    lossy = {"packets": 100, "lost_packets": 10, "jitter_ms": 2.5}
    new = {"sum": total(0, 1000, **lossy), "sum_sent": total(0, 1000, packets=100),
           "sum_received": total(0, 880, **lossy)}  # fmt: skip
    old = {"sum": total(0, 1000, **lossy)}  # before 3.7: what was sent, and what of it was lost
    for end, received_bytes in ((new, 880), (old, 900)):
        run = only(report(entry(0, packets=100), end=end, test={"protocol": "UDP"}))
        (t,) = run.totals
        assert run.transport == "udp"
        assert (t.sent_bytes, t.received_bytes, t.n_lost) == (1000, received_bytes, 10)
        assert t.jitter_s == pytest.approx(0.0025)


def test_server_output_is_the_far_end():
    received = [entry(0, 700, sender=False), entry(1, 800, sender=False)]
    run = only(report(entry(0, sender=True), server_output_json=report(*received, start=SERVER)))
    assert [(i.n_bytes, i.is_up, i.is_sender) for i in run.far_intervals] == [
        (700, True, False),
        (800, True, False),
    ]
    printed = "Accepted connection from 192.0.2.7, port 4\n[ ID] Interval  Transfer  Bitrate\n"
    printed += "[  5]   0.00-1.00   sec   640 KBytes  5.24 Mbits/sec\n"
    run = only(report(entry(0, sender=True), server_output_text=printed))
    assert [(i.n_bytes, i.is_up, i.is_sender) for i in run.far_intervals] == [(655360, True, False)]


@pytest.mark.parametrize("stamp_s", [315532800, 946684800, 1e300, -5])
def test_a_clock_that_was_not_set_is_no_clock(stamp_s):
    run = only(report(entry(0), start={"timestamp": {"timesecs": stamp_s}}))
    assert run.started_s is None
    assert [f.kind for f in run.findings] == ["clock not set"]


def events(document, name="interval"):
    lines = [{"event": "start", "data": document["start"]}]
    lines += [{"event": "interval", "data": i} for i in document["intervals"]]
    lines += [{"event": "end", "data": document["end"]}]
    return "".join(json.dumps(line) + "\n" for line in lines)


def test_a_stream_of_events_says_what_the_report_says():
    document = report(entry(0, sender=True), entry(1, sender=True))
    (streamed,) = read_runs(events(document))
    assert streamed.format == "iperf3 JSON stream"
    assert streamed.intervals == only(document).intervals
    assert streamed.started_s == only(document).started_s
    assert len(read_runs(events(document) * 3)) == 3


def test_a_stream_followed_by_the_whole_report_is_one_test():
    document = report(entry(0, sender=True), entry(1, sender=True), start={"cookie": "abc"})
    (run,) = read_runs(events(document) + json.dumps(document, indent=1))
    assert len(run.intervals) == 2
    assert [r.kind for r in run.repairs] == ["report printed twice"]
    other = report(entry(0), start={"cookie": "def"})
    assert len(read_runs(json.dumps([document, other]))) == 2


def test_a_stream_without_a_start_takes_the_protocol_from_its_streams():
    lines = [json.dumps({"event": "interval", "data": entry(0, packets=8, sender=True)})]
    assert read_runs(lines[0])[0].transport == "udp"


@pytest.mark.parametrize("join", ["", "\n", ",\n", "\n\n# a note of the script\n"])
def test_several_reports_in_one_file(join):
    text = join.join(json.dumps(report(entry(0, n)), indent=1) for n in (100, 200, 300))
    assert [run.intervals[0].n_bytes for run in read_runs(text)] == [100, 200, 300]


def test_a_list_of_reports():
    text = json.dumps([report(entry(0, n)) for n in (100, 200)])
    assert [run.intervals[0].n_bytes for run in read_runs(text)] == [100, 200]
    cut = read_runs(text[: text.rindex('"end"')])
    assert [len(run.intervals) for run in cut] == [1, 1]


def test_a_report_cut_short_and_the_next_one_in_the_same_file():
    document = report(*(entry(s, 100 + s) for s in range(5)))
    text = json.dumps(document)
    cut = text[: text.index('"bytes": 103')]
    first, second = read_runs(cut + text)
    assert [i.n_bytes for i in first.intervals] == [100, 101, 102]
    assert [(r.kind, r.n_samples) for r in first.repairs] == [("report cut short", 3)]
    assert second == only(document)


@pytest.mark.parametrize("indent", [None, 1])
def test_every_prefix_holds_the_first_intervals_and_invents_none(indent):
    document = report(*(entry(s, 1000 + s, sender=True) for s in range(4)))
    whole = only(document).intervals
    text = json.dumps(document, indent=indent)
    n_seen = 0
    for end in range(len(text) + 1):
        found = [i for run in read_runs(text[:end]) for i in run.intervals]
        assert found == list(whole[: len(found)])
        assert len(found) >= n_seen
        n_seen = len(found)
    assert n_seen == 4


@pytest.mark.parametrize(
    "bad",
    [
        {"bytes": "12"}, {"bytes": -1}, {"bytes": True}, {"bytes": None}, {"bytes": float("nan")},
        {"seconds": 0, "end": 0}, {"seconds": -1}, {"seconds": "1", "end": "2"}, {"start": -3},
    ],
)  # fmt: skip
def test_an_interval_without_usable_numbers_is_skipped_and_counted(bad):
    broken = entry(1)
    broken["sum"].update(bad)
    run = only(report(entry(0), broken))
    assert len(run.intervals) == 1
    assert [(r.kind, r.n_samples) for r in run.repairs] == [("interval skipped", 1)]


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[", "[" * 3000, '{"a":' * 3000, "null", "3", '"start"', "[1, 2]", "{}",
        '{"start": 1, "intervals": {"a": 1}, "end": []}', '{"start": {}, "intervals": [1, []]}',
        '{"event": "interval", "data": 3}', '{"event": "what", "data": {}}', '{"event": 3}',
        '{"start": {"timestamp": []}, "intervals": [{"sum": 3, "streams": 4}]}',
        '{"start": {}, "intervals": [{"sum": {"seconds": 1, "bytes": ' + "9" * 5000 + "}}]}",
    ],
)  # fmt: skip
def test_hostile_json_gives_no_intervals(text):
    assert not [i for run in read_runs(text) for i in run.intervals]


def test_a_file_of_damaged_reports_is_refused_in_linear_time():
    text = '{"start":{' * 100_000
    with pytest.raises(TraceError, match="got more than 1000 damaged ones"):
        read_runs(text)


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3)
    | st.dictionaries(
        st.sampled_from(["start", "intervals", "end", "sum", "streams", "bytes", "seconds",
                         "test_start", "sender", "timestamp", "timesecs", "rtt", "connected"]),
        inner, max_size=4,
    ),
    max_leaves=12,
)  # fmt: skip


numbers = st.floats() | st.integers(-3, 10) | st.sampled_from([1e308, 1e-308, 10**400, True, "1"])
KEYS = (
    "start", "end", "seconds", "bytes", "rtt", "snd_wnd", "snd_cwnd", "packets", "mean_rtt",
    "lost_packets", "jitter_ms", "sender", "omitted", "target_bitrate", "blksize", "timesecs",
)  # fmt: skip
blocks = st.fixed_dictionaries({}, optional=dict.fromkeys(KEYS, numbers))


@given(blocks, st.lists(blocks, max_size=4), blocks, st.sampled_from(["TCP", "UDP", "SCTP"]))
def test_any_numbers_give_a_trace_or_a_trace_error(test, entries, end, protocol):
    whole = {"bytes": 5, "seconds": 1}
    document = report(
        *({"streams": [entry, entry], "sum": {**whole, **entry}} for entry in entries),
        start={"timestamp": test}, test={**test, "protocol": protocol},
        end={"sum": end, "sum_sent": end, "sum_received": end, "streams": [{"sender": end}]},
    )  # fmt: skip
    try:
        trace = read_iperf3(json.dumps(document), "any.json", "")
    except TraceError:
        return
    assert (trace.throughput.rates_bps <= 1e12).all()
    assert (trace.latency.rtt_s < 3600).all()


@given(json_values, json_values, json_values)
def test_any_values_in_the_known_places_are_survived(start, intervals, end):
    document = {"start": start, "intervals": intervals, "end": end, "error": start}
    for run in read_runs(json.dumps(document)):
        for interval in run.intervals:
            assert interval.duration_s > 0
            assert interval.n_bytes >= 0
