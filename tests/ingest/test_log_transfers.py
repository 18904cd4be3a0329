from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError, TraceError
from linkfit.ingest import log_transfers
from linkfit.ingest.log_transfers import looks_like_access_log
from linkfit.ingest.reader import read_trace
from linkfit.link.fit import fit_link

LAST_MS = {"columns": {"last": "duration"}, "units": {"duration": "ms"}}
AGENT = '"https://finds.kestrel.example/" "A browser \\"7\\" (of [some] kind)"'


def line(size, rest, *, method="GET", status=200, host="203.0.113.9", minute=0):
    return (
        f'{host} - ana [15/Jun/2026:08:{minute:02d}:00 +0100] "{method} /finds/a.jpg HTTP/1.1" '
        f"{status} {size} {rest}"
    )


@pytest.fixture
def log(tmp_path):
    def write(*lines, name="access.log"):
        file = tmp_path / name
        file.write_bytes("\n".join(lines).encode("latin-1") + b"\n")
        return file

    return write


def found(trace, kind):
    return sum(f.n_samples for f in (*trace.findings, *trace.repairs) if f.kind == kind)


def test_an_answer_goes_out_over_the_link_up(log):
    trace = read_trace(log(line(3_500_000, f"{AGENT} 4000")), **LAST_MS)
    assert trace.transfers.size_bytes.tolist() == [3.5e6]
    assert trace.transfers.duration_s.tolist() == [4.0]
    assert trace.transfers.is_up.tolist() == [True]
    assert trace.transfers.start_s.tolist() == [1_781_506_800.0]  # 2026-06-15 07:00 UTC
    assert np.isnan(trace.transfers.rtt_s).all()
    assert trace.sources[0].format == "access log"
    assert "link up" in " ".join(f.text for f in trace.findings)


def test_what_a_request_carries_comes_in_over_the_link_down(log):
    file = log(line(312, f"{AGENT} 3500400 2.5", method="PUT", status=201))
    trace = read_trace(file, columns={"last": "duration", 10: "size"}, units={"last": "s"})
    assert trace.transfers.size_bytes.tolist() == [3_500_400]
    assert trace.transfers.duration_s.tolist() == [2.5]
    assert trace.transfers.is_up.tolist() == [False]


@pytest.mark.parametrize(
    ("rest", "place", "unit"),
    [
        ("4.0", "last", "s"), ("4000", 8, "ms"), ("4000000", "last", "us"),
        (f"{AGENT} 4000", 10, "ms"), (f"{AGENT} rt=4.000 up=1", "rt", "s"),
        (f'{AGENT} "4.000" -', 10, "s"), (f'{AGENT} rt="4.000"', "rt", "s"),
    ],
)  # fmt: skip
def test_where_the_duration_may_be(log, rest, place, unit):
    trace = read_trace(log(line(1e6.__int__(), rest)), columns={place: "duration"},
                       units={"duration": unit})  # fmt: skip
    assert trace.transfers.duration_s.tolist() == pytest.approx([4.0])


def test_what_tells_nothing_of_the_link_is_left_out_and_counted(log):
    file = log(
        line(3_500_000, "4000"),
        line(20_000, "4"),  # fits the kernel's buffer
        line(3_500_000, "4000", host="192.168.8.20"),  # never left the house
        line(312, "4000", method="POST"),  # how large its body was is not said
        line(3_500_000, "0"), line("-", "5"), line(3_500_000, "-"),
        line(3_500_000, "4000", status=404), line(3_500_000, "4000", status=304),
        line(3_500_000, "4000", method="HEAD"),
        "something else", "",
    )  # fmt: skip
    trace = read_trace(file, **LAST_MS)
    assert len(trace.transfers) == 1
    assert found(trace, "too small") == 1
    assert found(trace, "did not cross the link") == 1
    assert found(trace, "uploads left out") == 1
    assert found(trace, "transfer without a duration") == 3
    assert found(trace, "line in no log format") == 1


def test_a_tunnel_on_the_same_machine_hands_everything_over(log):
    trace = read_trace(log(line(3_500_000, "4000", host="127.0.0.1"),
                           line(3_500_000, "5000", host="::1")), **LAST_MS)  # fmt: skip
    assert len(trace.transfers) == 2
    assert found(trace, "all from this network") == 2


def test_rows_are_put_in_order_and_names_are_not_kept(log):
    file = log(line(1_000_000, "1000", minute=5), line(2_000_000, "2000", minute=1))
    trace = read_trace(file, **LAST_MS)
    assert trace.transfers.size_bytes.tolist() == [2e6, 1e6]
    kept = repr(trace.sources) + repr(trace.findings) + repr(trace.repairs)
    assert "203.0.113.9" not in kept
    assert "finds/a.jpg" not in kept


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({}, "expected to know which field of the access log is the duration.*'last': 'duration'"),
        ({"columns": {"last": "duration"}}, "unit as s, ms or us, got none"),
        ({"columns": {"last": "duration"}, "units": {"last": "min"}}, "got 'min'"),
        ({"columns": {7: "duration"}, "units": {7: "s"}}, "a field from 8 to 64, got 7"),
        ({"columns": {65: "duration"}, "units": {65: "s"}}, "got 65"),
        ({"columns": {"last": "duration", 9: "rtt"}, "units": {"last": "s"}}, "got 'rtt'"),
        ({"columns": {"rt": "duration"}, "units": {"rt": "s"}}, "got none in 1 lines"),
        (
            {"columns": {"last": "duration"}, "units": {"last": "us"}},
            "is the duration's unit right",
        ),
    ],
)
def test_what_is_not_said_or_cannot_be_is_named(log, options, says):
    with pytest.raises(TraceError, match=says):
        read_trace(log(line(3_500_000_000, "2")), **options)


def test_a_log_in_a_folder_is_passed_over_where_nobody_names_its_duration(log, tmp_path):
    log(line(3_500_000, "4000"))
    (tmp_path / "rates.csv").write_text(
        "time,direction,duration_s,rate_bps\n"
        + "".join(f"2026-06-15T08:00:{i:02d}Z,up,1,6000000\n" for i in range(10))
    )
    trace = read_trace(tmp_path)
    assert len(trace.throughput) == 10
    assert found(trace, "passed over") == 1


@pytest.mark.parametrize(
    "hostile",
    [
        b'1.2.3.4 - - [15/Jun/2026:08:00:00 +0000] "GET / HTTP/1.1" 200 ' + b"9" * 400 + b" 1\n",
        b'1.2.3.4 - - [15/Jun/2026:08:00:00 +0000] "GET / HTTP/1.1" 200 900000 ' + b'"' * 60_000,
        b'1.2.3.4 - - [15/Jun/2026:08:00:00 +0000] "GET / HTTP/1.1" 200 900000 1e999\n',
        b'1.2.3.4 - - [99/Jun/2026:08:00:00 +0000] "GET / HTTP/1.1" 200 900000 1000\n',
        b'1.2.3.4 - - [15/Jun/2026:08:00:00 +0000] "GET / HTTP/1.1" 200 900000 -5\n',
        b'1.2.3.4 - - [15/Jun/2026:08:00:00 +0000] "GET /\x00 HTTP/1.1" 200 900000 1000\n',
    ],
)
def test_hostile_lines_are_refused_in_words(tmp_path, hostile):
    file = tmp_path / "access.log"
    file.write_bytes(hostile)
    with pytest.raises(InputError, match=r"access\.log:.* expected"):
        read_trace(file, **LAST_MS)


def test_among_good_lines_hostile_ones_are_counted(tmp_path):
    file = tmp_path / "access.log"
    file.write_bytes(line(3_500_000, "4000").encode() + b"\n\xff\xfe\x1b[2J\n" + b"x" * 200_000)
    trace = read_trace(file, **LAST_MS)
    assert len(trace.transfers) == 1
    assert found(trace, "line in no log format") == 2


@given(st.text(max_size=60))
def test_no_text_behind_the_size_breaks_it(rest):
    reader = log_transfers._Reader(
        log_transfers._Fields(duration="last", duration_factor_s=1.0, request_size=9)
    )
    reader.take(line(3_500_000, rest).encode("utf-8", "replace"))
    assert len(reader.start_s) + reader.n_without == 1


def test_a_log_longer_than_can_be_kept(log, monkeypatch):
    monkeypatch.setattr(log_transfers, "MAX_REQUESTS", 3)
    trace = read_trace(log(*[line(1_000_000, "1000")] * 9), **LAST_MS)
    assert len(trace.transfers) == 3


@pytest.mark.parametrize(
    ("head", "is_one"),
    [(line(1, "x").encode(), True), (b"time,rate\n1,2\n", False), (b"", False),
     (b"# notes\n" + line(1, "").encode(), True)],
)  # fmt: skip
def test_told_by_its_first_lines(head, is_one):
    assert looks_like_access_log(head) is is_one


def test_a_link_can_be_fitted_to_it(log, rng):
    lines = [
        line(int(3.5e6), f"{AGENT} {3.5e6 * 8 / rate * 1e3:.0f}", minute=minute)
        for minute, rate in enumerate(rng.lognormal(np.log(6e6), 0.3, 60))
    ]
    link = fit_link(read_trace(log(*lines), **LAST_MS), seed=0)
    assert link.up is not None
    assert link.down is None
    assert 4e6 < link.up.mean_rate_bps < 9e6


def test_both_directions_by_both_fields(log):
    file = log(line(3_500_000, "120 4000"), line(99, "3500000 2000", method="POST", status=201))
    options = replace_units({"last": "duration", 8: "size"})
    trace = read_trace(file, **options)
    assert trace.transfers.is_up.tolist() == [True, False]
    assert trace.transfers.rates_bps.tolist() == pytest.approx([7e6, 14e6])


def replace_units(columns):
    return {"columns": columns, "units": {"duration": "ms"}}


def test_samples_are_values(log):
    trace = read_trace(log(line(3_500_000, "4000")), **LAST_MS)
    assert replace(trace, findings=()).transfers is trace.transfers
