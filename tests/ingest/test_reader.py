"""read_trace on files, folders, standard input and every kind of real measurement at hand."""

import io
import sys

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError, TraceError
from linkfit.ingest.reader import read_trace
from linkfit.ingest.trace import TRANSPORTS

TABLE = "time,up_bps\n" + "".join(f"2026-01-01T00:00:{i:02d}Z,{i}\n" for i in range(20))
PING = """PING 192.0.2.1 (192.0.2.1) 56(84) bytes of data.
64 bytes from 192.0.2.1: icmp_seq=1 ttl=57 time=12.1 ms
64 bytes from 192.0.2.1: icmp_seq=2 ttl=57 time=12.4 ms

--- 192.0.2.1 ping statistics ---
2 packets transmitted, 2 received, 0% packet loss, time 1001ms
rtt min/avg/max/mdev = 12.100/12.250/12.400/0.150 ms
"""


def test_several_files_are_one_trace_with_their_sums(tmp_path):
    (tmp_path / "a.png").write_text(TABLE)  # the name does not matter
    (tmp_path / "b").write_text(PING)
    trace = read_trace(tmp_path / "a.png", str(tmp_path / "b"))
    assert (len(trace.throughput), len(trace.latency)) == (20, 2)
    assert all(len(source.sha256) == 64 for source in trace.sources)


def test_standard_input(monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(TABLE.encode())))
    assert len(read_trace("-").throughput) == 20


def test_a_folder_is_read_with_all_below_and_passes_over_what_is_no_measurement(tmp_path):
    (tmp_path / "north" / "spring").mkdir(parents=True)
    (tmp_path / "north" / "spring" / "a").write_text(TABLE)
    (tmp_path / "README").write_text("Measured at the ridge.\nBy Ana.\n")
    (tmp_path / "store").write_bytes(b"SQLite format 3\0....")
    trace = read_trace(tmp_path)
    assert len(trace.throughput) == 20
    assert [f.source for f in trace.findings if f.kind == "passed over"] == [
        str(tmp_path / "README"), str(tmp_path / "store"),
    ]  # fmt: skip


def test_a_damaged_measurement_in_a_folder_is_an_error(tmp_path):
    (tmp_path / "a").write_text(TABLE)
    (tmp_path / "b").write_text(TABLE + "2026-01-01T00:01:00Z,x\n")
    with pytest.raises(TraceError, match=r"b:22:2: expected a number .* got 'x'"):
        read_trace(tmp_path)


def test_a_folder_without_measurements_is_an_error(tmp_path):
    (tmp_path / "README").write_text("Nothing yet.\n")
    with pytest.raises(TraceError, match=r"got 1 file, none of them a measurement"):
        read_trace(tmp_path)


def test_all_problems_of_all_files_come_at_once(tmp_path):
    (tmp_path / "a").write_text("Dear all,\nsee you.\n")
    (tmp_path / "b").touch()
    with pytest.raises(
        TraceError, match=r"(?s)a.*: expected.*b: expected measurements, got 0 by.*c"
    ):
        read_trace(tmp_path / "a", tmp_path / "b", tmp_path / "c")


def test_two_files_in_one_are_refused(read):
    with pytest.raises(TraceError, match=r"got a table .* and ping output in one file; split them"):
        read(TABLE + PING)


def test_no_path_is_no_measurement():
    with pytest.raises(InputError, match=r"expected at least one file or folder, got none"):
        read_trace()


def test_the_direction_of_packet_times_is_said_or_ends_the_name(read, kinds):
    text = "0\n3\n3\n90\n150\n260\n"
    assert read(text, direction="up").throughput.is_up.all()
    hinted = read(text, name="ridge.down")
    assert not hinted.throughput.is_up.any()
    assert "direction from name" in kinds(hinted)
    with pytest.raises(TraceError, match=r"expected to know which way the packets went"):
        read(text)


@pytest.mark.shared
def test_a_satellite_link_both_ways_at_once(shared_traces, kinds):
    trace = read_trace(shared_traces / "leo-1s" / "iperf.csv")
    found = kinds(trace)
    # README.md of the traces: 994 empty uploads that are not zeros, 41 true zeros, 1,173 gaps
    assert found["not measured: upload_mbps"] == 994
    assert found["zero rate: upload_mbps"] == 41
    assert found["gaps"] == 1173
    assert found["too long"] == 1
    assert trace.throughput.saturating.all()
    assert {TRANSPORTS[i] for i in trace.throughput.transport} == {"udp"}
    assert trace.sources[0].peer


@pytest.mark.shared
def test_bursts_of_round_trips_with_loss_in_percent(shared_traces, kinds):
    trace = read_trace(shared_traces / "leo-1s" / "ping.csv")
    assert len(trace.latency) == 1190
    assert trace.latency.loss_frac == pytest.approx(0.02704, abs=1e-5)
    assert float(np.median(trace.latency.rtt_s)) == pytest.approx(0.0576, abs=1e-4)
    assert "unit taken: packet_loss" in kinds(trace)


@pytest.mark.shared
def test_a_terminals_log_is_passive_and_its_traps_are_named(shared_traces, kinds):
    trace = read_trace(shared_traces / "leo-ship" / "2024-12-12.csv")
    found = kinds(trace)
    assert not trace.throughput.saturating.any()
    assert {"passive", "plateau: up", "plateau: down", "polling: down", "lower under load"} <= set(
        found
    )
    plateau = next(f.text for f in trace.findings if f.kind == "plateau: up")
    assert "54.2 Mbit/s" in plateau


@pytest.mark.shared
def test_a_modem_log_is_passive_and_counts_tenths_of_decibels(shared_traces, kinds):
    trace = read_trace(shared_traces / "leo-ship" / "modem_5g.csv")
    assert {"passive", "tenths of dB"} <= set(kinds(trace))
    assert len(trace.throughput) == 10_000


@pytest.mark.shared
def test_a_folder_of_paired_captures(shared_traces, kinds):
    trace = read_trace(shared_traces / "delivery")
    assert len(trace.sources) == 6
    assert trace.throughput.is_up.any()
    assert not trace.throughput.is_up.all()
    assert "direction from name" in kinds(trace)


@pytest.mark.shared
def test_uploads_sent_when_the_link_looked_good_are_said(shared_traces):
    trace = read_trace(shared_traces / "uploads-lte", direction="up")
    assert len(trace.sources) == 80
    uneven = {f.source for f in trace.findings if f.kind == "uneven starts"}
    assert len(uneven) > 20
    assert not any("periodic" in name for name in uneven)


@pytest.mark.shared
def test_chunks_in_kilobits_with_the_limit_of_their_server(shared_traces, kinds):
    folder = shared_traces / "chunk-downloads"
    trace = read_trace(
        folder,
        direction="down",
        columns={"chunk_size": "size", "delivery_time": "duration"},
        units={"chunk_size": "kbit"},
    )
    assert len(trace.transfers) == 5291
    assert "limit stated" in kinds(trace)
    assert_allclose(trace.transfers.size_bytes.min(), 15e3 / 8)
    with pytest.raises(TraceError, match=r"(?s)'chunk_size': expected a unit.*which way"):
        read_trace(folder)


@pytest.mark.shared
@pytest.mark.parametrize("folder", ["ping-text", "ping-driving", "iperf3"])
def test_other_folders_are_read_whole(shared_traces, folder):
    trace = read_trace(shared_traces / folder)
    assert len(trace.throughput) + len(trace.latency) > 100


@pytest.mark.shared
def test_everything_at_once_names_what_must_be_said(shared_traces):
    with pytest.raises(TraceError, match=r"say direction="):
        read_trace(shared_traces)


def test_a_guessed_encoding_is_said(tmp_path):
    path = tmp_path / "messung.csv"
    path.write_bytes("Gerät;time_s;up_bps\nKüche;1;1e6\nKüche;2;2e6\n".encode("cp1252"))
    trace = read_trace(path)
    assert len(trace.throughput) == 2
    assert [f.text for f in trace.findings if f.kind == "encoding taken"] == [
        "the text is not UTF-8; read as cp1252: names may be wrong, digits not"
    ]


def test_an_empty_folder_says_that_it_is_empty(tmp_path):
    with pytest.raises(TraceError, match="got one without files; put the traces there"):
        read_trace(tmp_path)
