import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import TraceError
from linkfit.ingest import even_times, quick, table, tidy, traps
from linkfit.ingest.even_times import EvenTimes, stored

HEADER = "time,upload [Mbit/s]\n"


def rows(n=20, first=0):
    return "".join(f"2026-01-01T00:00:{i:02d}Z,{i}.5\n" for i in range(first, first + n))


@pytest.mark.parametrize(("change", "n"), [
    (lambda t: t, 20),
    (lambda t: t.replace("\n", "\r\n"), 20),
    (lambda t: t.replace("\n", "\r"), 20),
    (lambda t: "\ufeff" + t, 20),
    (lambda t: t.encode("utf-16"), 20),
    (lambda t: t.replace(",", "\t"), 20),
    (lambda t: t.replace(",", " | "), 20),
    (lambda t: t.replace(",", ";").replace(".", ","), 20),
    (lambda t: t.replace("\n", "\n\n"), 20),
    (lambda t: "# notes\n" + t, 20),
    (lambda t: t[:-1], 20),
])  # fmt: skip
def test_one_table_in_many_dresses(read, change, n):
    samples = read(change(HEADER + rows())).throughput
    assert_allclose(samples.rates_bps, (np.arange(n) + 0.5) * 1e6)
    assert_allclose(np.diff(samples.start_s), 1.0)
    assert samples.is_up.all()


def test_a_last_row_cut_off_by_the_end_of_the_file_is_left_out_and_counted(read, kinds):
    trace = read((HEADER + rows())[:-8])
    assert len(trace.throughput) == 19
    assert kinds(trace)["cut off"] == 1


def test_every_damaged_row_and_cell_is_named_at_once(read):
    text = HEADER + rows() + "2026-01-01T00:01:00Z\nyesterday,5\n2026-01-01T00:01:01Z,fast\n1,2,3\n"
    with pytest.raises(TraceError) as caught:
        read(text)
    problems = str(caught.value).split("\n")
    assert [p.split("measurement:")[1].split(": expected")[0] for p in problems] == [
        "22", "24:2", "25", "23:1",
    ]  # fmt: skip
    assert "expected 2 cells, got 1" in problems[0]
    assert "expected a number in column 'upload [Mbit/s]', got 'fast'" in problems[1]


def test_a_header_between_the_rows_of_joined_files_is_left_out(read, kinds):
    trace = read(HEADER + rows() + HEADER + rows(first=30))
    assert len(trace.throughput) == 40
    assert kinds(trace)["header again"] == 1


def test_a_nul_byte_is_placed(read):
    with pytest.raises(TraceError, match=r"measurement:5:\d+: expected text, got a NUL byte"):
        read(HEADER + rows(3) + "2026\0" + rows(3))


def test_an_open_quotation_mark_is_no_silent_loss(read):
    with pytest.raises(TraceError, match="measurement:22: expected 2 cells, got"):
        read(HEADER + rows() + '"2026-01-01T00:00:30Z,1\n' + rows(5, first=40))


def test_progress_reaches_the_end(read):
    seen = []
    read(HEADER + rows(), progress=lambda *step: seen.append(step))
    name, done, everything = seen[-1]
    assert name.endswith("measurement")
    assert done == everything


cells = st.one_of(st.just(""), st.just("0"), st.integers(0, 10**9).map(str))


@given(st.lists(cells, min_size=5, max_size=60))
@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25, deadline=None
)
def test_the_quick_and_the_careful_reading_agree(read, column):
    text = "t_s,up_bps,x\n" + "".join(f"{i},{c},w\n" for i, c in enumerate(column))
    if not any(column):
        return
    quick = read(text)  # regular: the quick parser
    careful = read(text + "\n")  # a blank line makes it irregular
    assert_allclose(quick.throughput.bits, careful.throughput.bits)
    assert [f.n_samples for f in quick.findings] == [f.n_samples for f in careful.findings]
    slow = [float(c) for c in column if c]
    assert_allclose(quick.throughput.rates_bps, slow)


def test_chunks_give_what_one_chunk_gives(read, monkeypatch):
    text = HEADER + rows(50)
    whole = read(text)
    monkeypatch.setattr(table, "CHUNK_ROWS", 7)
    monkeypatch.setattr(quick, "BLOCK_BYTES", 100)
    for end in ("", "\n"):  # quick and careful
        parts = read(text + end)
        assert_allclose(parts.throughput.start_s, whole.throughput.start_s)
        assert_allclose(parts.throughput.bits, whole.throughput.bits)


def test_a_damaged_cell_in_a_later_chunk_has_its_own_row(read, monkeypatch):
    monkeypatch.setattr(table, "CHUNK_ROWS", 7)
    monkeypatch.setattr(quick, "BLOCK_BYTES", 100)
    with pytest.raises(TraceError, match=r"measurement:32:2: expected a number.*got 'x'"):
        read(HEADER + rows(30) + "2026-01-01T00:00:59Z,x\n")


@pytest.mark.parametrize("gone", [[], [5], [64, 65, 66], [31, 32, 33, 100]])
@pytest.mark.parametrize("both_ways", [False, True])
def test_blocks_and_grids_find_what_whole_arrays_find(read, monkeypatch, gone, both_ways):
    """Wherever a gap lies to the blocks, and whether starts are stretches or an array."""
    times = [t for t in range(200) if t not in gone]
    header = "t_s,up_bps,down_bps\n" if both_ways else "t_s,up_bps,x\n"
    text = header + "".join(f"{t},{1000 + t},{7 * t + 1}\n" for t in times)
    whole = read(text)
    assert isinstance(stored(whole.throughput, "start_s"), EvenTimes)
    monkeypatch.setattr(even_times, "_ROWS_A_STRETCH", 10**9)
    monkeypatch.setattr(even_times, "_FREE_STRETCHES", -1)
    for module in (tidy, traps):
        monkeypatch.setattr(module, "BLOCK_ROWS", 32)
    pieces = read(text)
    assert isinstance(stored(pieces.throughput, "start_s"), np.ndarray)
    assert (pieces.repairs, pieces.findings) == (whole.repairs, whole.findings)
    assert_array_equal(pieces.throughput.start_s, whole.throughput.start_s)
    n_gaps = [f.n_samples for f in whole.findings if f.kind == "gaps"]
    assert n_gaps == ([] if len(gone) < 2 else [1])
