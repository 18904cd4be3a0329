"""Two files with the same bytes are one measurement."""

import numpy as np
import pytest

from linkfit.ingest.copies import without_copies
from linkfit.ingest.reader import read_trace

PING = """PING far (192.0.2.1) 56(84) bytes of data.
64 bytes from 192.0.2.1: icmp_seq=1 ttl=60 time=50.1 ms
64 bytes from 192.0.2.1: icmp_seq=2 ttl=60 time=51.1 ms

--- far ping statistics ---
2 packets transmitted, 2 received, 0% packet loss, time 1001ms
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "monday").mkdir()
    (tmp_path / "all").mkdir()
    for name in ("all/a.txt", "monday/a.txt"):
        (tmp_path / name).write_text(PING, encoding="utf-8")
    (tmp_path / "monday/b.txt").write_text(PING.replace("50.1", "60.1"), encoding="utf-8")
    (tmp_path / "up.csv").write_text(
        "time_s,up_bps\n" + "".join(f"{t},{1e6 + t}\n" for t in range(1, 6)), encoding="utf-8"
    )
    return tmp_path


def test_a_copy_is_dropped_and_said(folder):
    trace = read_trace(folder)
    assert sorted(np.round(trace.latency.rtt_s, 4)) == [0.0501, 0.0511, 0.0511, 0.0601]
    assert len(trace.throughput) == 5
    copies = [r for r in trace.repairs if r.kind == "copy dropped"]
    assert len(copies) == 1
    assert copies[0].n_samples == 2
    assert copies[0].source.endswith("monday/a.txt")
    assert copies[0].text.endswith("all/a.txt: counted once")


def test_sources_still_point_to_their_samples(folder):
    trace = read_trace(folder)
    names = [trace.sources[i].name for i in trace.latency.source]
    assert [name.rsplit("/", 2)[-2:] for name in names] == [
        ["all", "a.txt"], ["all", "a.txt"], ["monday", "b.txt"], ["monday", "b.txt"],
    ]  # fmt: skip
    assert trace.sources[trace.throughput.source[0]].name.endswith("up.csv")


def test_the_same_file_named_twice_counts_once(folder):
    path = folder / "all" / "a.txt"
    assert len(read_trace(path, path).latency) == 2
    assert len(read_trace(folder, path).latency) == len(read_trace(folder).latency) == 4
    assert len(read_trace(path, folder / "monday" / "a.txt").latency) == 2


def test_without_copies_nothing_is_touched(folder):
    trace = read_trace(folder / "up.csv")
    assert without_copies(trace) is trace


@pytest.mark.shared
def test_repeated_uplink_tests_lie_there_in_several_folders(shared_traces):
    trace = read_trace(shared_traces / "iperf3" / "repeated-uplink" / "server-1")
    assert len({source.sha256 for source in trace.sources}) == len(trace.sources) == 159
