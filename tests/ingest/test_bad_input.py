"""Bad input of section 9 of the design, each through the one door: read_trace.

What can be repaired for certain is repaired, counted and shown; all else is refused with its
place, what was expected, what was got and what to do. Nothing is written, nothing is guessed
silently, and nothing but a TraceError comes out.
"""

import json
import os
import re

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import TraceError
from linkfit.ingest.reader import read_trace

START_S = 1782907200  # 2026-07-01 12:00 UTC


def table(rates_mbps, *, end="\n"):
    rows = ["time,up (Mbit/s)", *(f"{START_S + i},{rate}" for i, rate in enumerate(rates_mbps))]
    return end.join(rows) + end


def iperf3(rates_mbps, **more):
    intervals = [
        {"streams": [], "sum": {"start": s, "end": s + 1, "seconds": 1, "sender": True,
                                "bytes": int(rate * 125_000)}}
        for s, rate in enumerate(rates_mbps)
    ]  # fmt: skip
    test = {"protocol": "TCP", "reverse": 0, "target_bitrate": 0}
    start = {"timestamp": {"timesecs": START_S}, "test_start": test}
    return json.dumps({"start": start, "intervals": intervals, "end": {}, **more}, indent=1)


def ping(rtts_ms):
    lines = ["PING cam.example (192.0.2.7) 56(84) bytes of data."]
    lines += [
        f"[{START_S + i}.5] 64 bytes from 192.0.2.7: icmp_seq={i} ttl=58 time={rtt} ms"
        for i, rtt in enumerate(rtts_ms, start=1)
    ]
    n = len(rtts_ms)
    lines.append(f"{n} packets transmitted, {n} received, 0% packet loss, time {n - 1}000ms")
    return "\n".join(lines) + "\n"


RATES_MBPS = [4.0, 6.0, 5.5, 5.0, 6.5]
TABLE, IPERF3, PING = table(RATES_MBPS), iperf3(RATES_MBPS), ping([60.0, 62.0, 61.0])
FORMATS = {"table": TABLE, "iperf3": IPERF3, "ping": PING}
WINDOWS = (
    "Envoi d’une requête 'Ping' 192.0.2.7 avec 32 octets de données :\r\n"
    "Réponse de 192.0.2.7 : octets=32 temps=61 ms TTL=58\r\n"
    "Délai d’attente de la demande dépassé.\r\n"
    "Réponse de 192.0.2.7 : octets=32 temps=62 ms TTL=58\r\n"
)


@pytest.fixture
def written(tmp_path):
    def write(data, name="kestrel.txt"):
        path = tmp_path / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8"))
        return path

    return write


def samples(trace):
    return np.concatenate((trace.throughput.rates_bps, trace.latency.rtt_s))


def kinds(notes):
    return {note.kind: note.n_samples for note in notes}


# --- unknown or mixed format, wrong encoding, marks, line ends, damage


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
def test_encodings_and_marks_change_nothing(written, form, encoding):
    expected = samples(read_trace(written(FORMATS[form])))
    assert_array_equal(samples(read_trace(written(FORMATS[form].encode(encoding)))), expected)


@pytest.mark.parametrize("form", FORMATS)
def test_windows_line_ends_change_nothing(written, form):
    expected = samples(read_trace(written(FORMATS[form])))
    data = FORMATS[form].replace("\n", "\r\n")
    assert_array_equal(samples(read_trace(written(data))), expected)


@pytest.mark.parametrize("code_page", ["utf-8", "cp850", "cp1252"])
def test_windows_ping_in_the_code_page_of_its_console(written, code_page):
    data = WINDOWS.replace("’", "'").encode(code_page)
    assert_allclose(read_trace(written(data)).latency.rtt_s, [0.061, np.inf, 0.062])


def test_a_japanese_console(written):
    data = (
        "192.0.2.7 に ping を送信しています 32 バイトのデータ:\r\n"
        "192.0.2.7 からの応答: バイト数 =32 時間 =7ms TTL=55\r\n"
    ).encode("cp932")
    assert_allclose(read_trace(written(data)).latency.rtt_s, [0.007])


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "got 0 bytes"),
        (b"hello\nworld\n", "kestrel.txt"),
        (b"\x89PNG\r\n\x1a\n" + bytes(100), "expected a measurement as text, got a picture"),
        (b"PK\x03\x04" + bytes(100), "zip archive"),
        (TABLE.encode() + bytes(60), r"kestrel.txt:7:1: expected text, got a NUL byte.*power cut"),
        (PING.encode() + bytes(60), r"kestrel.txt:6:1: expected text, got a NUL byte"),
        (PING.encode() + b"\x81\xff\xfe\x00", "kestrel.txt"),
        (b"{}", "kestrel.txt"),
        (b"[1, 2, 3]", "kestrel.txt"),
        (b'{"start": {"version": "iperf 3.12"}}', "at least one usable interval, got 1 without"),
    ],
)
def test_what_is_no_measurement_is_refused_by_name(written, data, told):
    path = written(data)
    with pytest.raises(TraceError, match=told):
        read_trace(path)


@pytest.mark.parametrize("data", [bytes(4096), TABLE.encode() + bytes(4096)])
def test_a_file_that_is_mostly_nul_is_called_damaged(written, data):
    path = written(data)
    with pytest.raises(TraceError, match="got a NUL byte"):
        read_trace(path)


def test_absent_files_and_devices(tmp_path):
    with pytest.raises(
        TraceError, match=r"absent.csv: expected a readable file, got 'No such file"
    ):
        read_trace(tmp_path / "absent.csv")
    with pytest.raises(TraceError, match="/dev/null: expected a file, got a device"):
        read_trace("/dev/null")
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(TraceError, match="pipe: expected a file, got a device, pipe or socket"):
        read_trace(tmp_path / "pipe")


def test_a_folder_without_a_measurement(tmp_path):
    (tmp_path / "notes.md").write_text("# nothing\n")
    with pytest.raises(TraceError, match="expected a folder with measurements, got 1 file,"):
        read_trace(tmp_path)


def test_all_bad_files_are_told_at_once_and_none_is_touched(written, tmp_path):
    paths = [written(b"", "a.csv"), written(TABLE, "b.csv"), written(bytes(9), "c.json")]
    before = sorted((p.name, p.read_bytes()) for p in tmp_path.iterdir())
    with pytest.raises(TraceError) as caught:
        read_trace(*paths)
    lines = str(caught.value).splitlines()
    assert [re.search(r"(\w)\.(csv|json)", line)[1] for line in lines] == ["a", "c"]
    assert sorted((p.name, p.read_bytes()) for p in tmp_path.iterdir()) == before


@pytest.mark.parametrize("form", FORMATS)
def test_a_file_cut_anywhere_gives_a_prefix_or_is_refused(written, form):
    text = FORMATS[form]
    whole = samples(read_trace(written(text)))
    for end in range(1, len(text), 7):
        try:
            found = samples(read_trace(written(text[:end])))
        except TraceError:
            continue
        if form == "iperf3" and found.size == 1:
            assert found[0] in (4e6, whole[0])  # the first second is kept while it is the only one
        elif form == "table":  # a number cut short is a number: only the last row can be wrong
            assert_array_equal(found[:-1], whole[: max(found.size - 1, 0)])
        else:
            assert_array_equal(found, whole[: found.size])


def test_a_mixed_file_is_refused(written):
    path = written(TABLE + PING)
    with pytest.raises(TraceError, match=r"kestrel.txt: expected one kind of measurement"):
        read_trace(path)


# --- rows: order, doubles, clock steps, gaps, impossible and missing values, two kinds of zero


def test_rows_out_of_order_and_twice_are_put_right_and_counted(written):
    head, *rows = TABLE.splitlines()
    shuffled = [head, rows[0], rows[2], rows[1], rows[3], rows[3], rows[4]]
    trace = read_trace(written("\n".join(shuffled) + "\n"))
    assert_allclose(trace.throughput.rates_bps, np.array(RATES_MBPS) * 1e6)
    found = kinds(trace.repairs)
    assert found["rows out of order"] == 1
    assert found["duplicate rows"] == 1


def test_a_clock_that_is_set_back_is_noticed(written):
    rows = ["time,up (Mbit/s)"]
    rows += [f"{START_S + i},{5 + i % 3}" for i in range(60)]
    rows += [f"{START_S + 60 + i - 3600},{5 + i % 3}" for i in range(60)]
    trace = read_trace(written("\n".join(rows) + "\n"))
    assert (np.diff(trace.throughput.start_s) > 0).all()
    assert any("clock" in kind for kind in kinds(trace.findings))


def test_gaps_are_gaps_and_not_zeros(written):
    rows = [f"{START_S + i},6" for i in (0, 1, 2, 60, 61, 62)]
    trace = read_trace(written("\n".join(["time,up (Mbit/s)", *rows]) + "\n"))
    assert len(trace.throughput) == 6
    assert (trace.throughput.rates_bps > 0).all()
    assert kinds(trace.findings)["gaps"] == 1


@pytest.mark.parametrize("cell", ["", "NaN", "n/a"])
def test_not_measured_is_no_zero(written, cell):
    trace = read_trace(written(table([4.0, cell, 0, 5.0])))
    assert_allclose(trace.throughput.rates_bps, [4e6, 0.0, 5e6])
    assert sum(kinds(trace.repairs).values()) + sum(kinds(trace.findings).values()) >= 1


@pytest.mark.parametrize("cell", ["-3", "inf", "1e300"])
def test_impossible_rates_do_not_become_samples(written, cell):
    trace = read_trace(written(table([4.0, cell, 5.0])))
    assert_allclose(trace.throughput.rates_bps, [4e6, 5e6])
    assert sum(kinds(trace.repairs).values()) == 1


def test_a_cell_that_is_no_number_is_named_by_row_and_column(written):
    with pytest.raises(TraceError, match=r"kestrel.txt:3:2: expected a number.*got 'fast'"):
        read_trace(written(table([4.0, "fast", 5.0])))


# --- iperf3: errors, missing keys


def test_iperf3_errors_are_named_and_end_with_the_file_refused(written):
    error = json.dumps({"start": {}, "intervals": [], "end": {}, "error": "the server is busy"})
    with pytest.raises(TraceError, match=r"kestrel.txt: .*iperf3's error 'the server is busy'"):
        read_trace(written(error))
    trace = read_trace(written(error + "\n" + IPERF3))
    assert kinds(trace.repairs)["error report skipped"] == 1
    assert len(trace.throughput) == 4


def test_errors_in_a_folder_of_tests_are_counted_and_the_others_read(written, tmp_path):
    written(json.dumps({"start": {}, "intervals": [], "end": {}, "error": "no route"}), "1.json")
    written(IPERF3, "2.json")
    trace = read_trace(tmp_path)
    assert len(trace.throughput) == 4
    assert any("no route" in note.text for note in (*trace.repairs, *trace.findings))


def test_iperf3_reports_with_half_their_keys_missing(written):
    document = json.loads(IPERF3)
    del document["start"], document["end"]
    for interval in document["intervals"]:
        del interval["streams"], interval["sum"]["sender"]
    trace = read_trace(written(json.dumps(document)))
    assert_allclose(trace.throughput.rates_bps, [6e6, 5.5e6, 5e6, 6.5e6])
    assert not trace.sources[0].has_clock


def test_a_set_direction_and_a_two_way_test_contradict_each_other(written):
    document = json.loads(IPERF3)
    for interval in document["intervals"]:
        interval["sum_bidir_reverse"] = {**interval["sum"], "sender": False}
    with pytest.raises(TraceError, match="leave direction out"):
        read_trace(written(json.dumps(document)), direction="up")


# --- too little data


@pytest.mark.parametrize("form", FORMATS)
def test_one_sample_is_enough(written, form):
    one = {"table": table([5.0]), "iperf3": iperf3([5.0]), "ping": ping([60.0])}[form]
    assert samples(read_trace(written(one))).size == 1


def test_a_header_alone_gives_no_sample(written):
    """The fit then says what to measure (exit 3); a missing measurement is never invented."""
    trace = read_trace(written("time,up (Mbit/s)\n"))
    assert len(trace.throughput) == len(trace.latency) == len(trace.transfers) == 0


# --- hostile text is data


HOSTILE = ["\x1b[31mred", "<script>alert`1`</script>", "=1+1", "../../etc", "a\u202eb"]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_reach_the_trace_as_they_are(written, name):
    assert read_trace(written(PING.replace("cam.example", name))).sources[0].peer == name
    document = json.loads(IPERF3)
    document["start"]["connecting_to"] = {"host": name}
    assert read_trace(written(json.dumps(document))).sources[0].peer == name


@pytest.mark.parametrize("name", ["=cmd|'/C'!A0", "\x1b]0;owned\x07"])
def test_a_name_with_a_delimiter_does_not_make_ping_a_table(written, name):
    assert read_trace(written(PING.replace("cam.example", name))).sources[0].peer == name


def test_hostile_text_in_messages_is_escaped(written):
    with pytest.raises(TraceError) as caught:
        read_trace(written(table([4.0, "\x1b[2Jfast", 5.0])))
    assert "\x1b" not in str(caught.value)
    error = {"start": {}, "intervals": [], "end": {}, "error": "\x1b[2Jgone"}
    with pytest.raises(TraceError) as caught:
        read_trace(written(json.dumps(error)))
    assert "\x1b" not in str(caught.value)


# --- fuzz: whatever the damage, a Trace or a TraceError


MUTATED = {
    **FORMATS,
    "windows ping": WINDOWS,
    "iperf3 text": (
        "Connecting to host a, port 5201\n"
        "[ ID] Interval           Transfer     Bitrate         Retr  Cwnd\n"
        "[  5]   0.00-1.00   sec   640 KBytes  5.24 Mbits/sec    0   1.12 MBytes\n"
        "[  5]   1.00-2.00   sec   640 KBytes  5.24 Mbits/sec    0   1.12 MBytes\n"
    ),
    "iperf3 stream": "".join(
        json.dumps({"event": "interval", "data": i}) + "\n"
        for i in json.loads(IPERF3)["intervals"]
    ),
    "delivery": "".join(f"{5 * i}\n" for i in range(60)),
}  # fmt: skip
PIECES = [b"", b"\0", b"\xff", b"-", b"9" * 30, b"e99", b"NaN", b"{", b"}", b"[", b",", b"\n",
          b"=", b"%", b'"', b"\r\n", b" ms", b"icmp_seq=65535", b"\xc3\xa9", b"inf"]  # fmt: skip


def mutated(data, rng):
    data = bytearray(data)
    for _ in range(int(rng.integers(1, 5))):
        at, length = int(rng.integers(0, len(data) + 1)), int(rng.integers(0, 12))
        piece = PIECES[int(rng.integers(len(PIECES)))]
        match int(rng.integers(4)):
            case 0:  # replace
                data[at : at + length] = piece
            case 1:  # insert
                data[at:at] = piece
            case 2:  # repeat a stretch
                data[at:at] = data[at : at + 10 * length]
            case _:  # cut off
                del data[at + 10 * length :]
    return bytes(data)


@pytest.mark.slow
@pytest.mark.parametrize("form", MUTATED)
def test_two_thousand_mutations_give_a_trace_or_a_trace_error(written, form):
    rng = np.random.default_rng(20260705)
    data = MUTATED[form].encode()
    n_refused = 0
    for _ in range(2000 // len(MUTATED)):
        path = written(mutated(data, rng))
        try:
            trace = read_trace(path, direction="up")
        except TraceError:
            n_refused += 1
        else:
            assert np.isfinite(trace.throughput.rates_bps).all()
            assert (trace.latency.rtt_s > 0).all()
    assert n_refused < 2000 // len(MUTATED)  # some damage leaves something to read
