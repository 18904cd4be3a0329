import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from linkfit.errors import TraceError
from linkfit.ingest import quick, table

HEADER = "t_s,upload_bps\n"


def rows(n, first=0):
    return "".join(f"{i},{1000 + i}\n" for i in range(first, first + n))


@pytest.fixture
def small_blocks(monkeypatch):
    monkeypatch.setattr(quick, "BLOCK_BYTES", 64)
    monkeypatch.setattr(table, "CHUNK_ROWS", 20)


@pytest.fixture
def careful_rows(monkeypatch):
    """Counts the rows that the careful reading looks at."""
    seen = []
    accept = table._RowChecker.accept

    def counting(self, cells, row):
        seen.append(row)
        return accept(self, cells, row)

    monkeypatch.setattr(table._RowChecker, "accept", counting)
    return seen


def assert_counted(samples, n):
    assert_array_equal(samples.start_s, np.arange(n))
    assert_allclose(samples.bits, 1000 + np.arange(n))


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_regular_table_never_needs_the_careful_reading(read, careful_rows, end):
    assert_counted(read((HEADER + rows(300)).replace("\n", end)).throughput, 300)
    assert careful_rows == []


@pytest.mark.usefixtures("small_blocks")
def test_notes_before_the_header_are_no_reason_for_the_careful_reading(read, careful_rows):
    assert_counted(read("# a log\n\n" + HEADER + rows(100)).throughput, 100)
    assert careful_rows == []


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("tail", ["300,1300", "\n300,1300\n", '"300",1300\n'])
def test_the_careful_reading_goes_on_where_the_quick_one_ends(read, careful_rows, tail):
    assert_counted(read(HEADER + rows(300) + tail).throughput, 301)
    assert len(careful_rows) < 20


@pytest.mark.usefixtures("small_blocks")
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_damage_deep_in_a_table_is_named_by_its_line(read, mark):
    text = mark + HEADER + rows(200) + "200,fast\n201\n" + rows(50, first=202)
    with pytest.raises(TraceError) as caught:
        read(text)
    problems = str(caught.value).split("\n")
    assert [p.split("measurement:")[1].split(": expected")[0] for p in problems] == ["202:2", "203"]


@pytest.mark.usefixtures("small_blocks")
def test_rows_too_long_and_too_short_in_one_block_do_not_make_up_for_each_other(read):
    with pytest.raises(TraceError, match="measurement:103: expected 2 cells, got 1"):
        read(HEADER + rows(100) + "100,1,\n101\n" + rows(50, first=102))


@pytest.mark.usefixtures("small_blocks")
def test_an_unknown_byte_deep_in_a_table_is_no_end(read):
    text = (HEADER.replace("\n", ",note\n") + rows(2000).replace("\n", ",ok\n")).encode()
    damaged = text.replace(b"1999,2999,ok", b"1999,2999,\xff\xfe")
    assert len(read(damaged).throughput) == 2000


@pytest.mark.usefixtures("small_blocks")
def test_a_lone_carriage_return_in_the_header_line_costs_no_row(read):
    assert_counted(read("t_s,upload_bps\r0,1000\n" + rows(50, first=1)).throughput, 51)


@pytest.mark.usefixtures("small_blocks")
def test_what_a_row_lasts_is_told_from_many_rows_not_from_one_block(read, kinds):
    times = [0, 1, 2, 3, *range(10, 150, 10)]  # the first block alone would say 1 s
    trace = read(HEADER + "".join(f"{t},{10**6 + t}\n" for t in times))
    assert trace.throughput.duration_s[0] == 10


@pytest.mark.usefixtures("small_blocks")
def test_the_hour_that_comes_twice_is_told_across_blocks(read):
    stamps = [f"2026-10-25T0{h}:{m:02d}:00" for h in (0, 1, 1, 2) for m in range(0, 60, 10)]
    text = "time,upload_bps\n" + "".join(f"{s},1000\n" for s in stamps)
    start_s = read(text, timezone="Europe/Lisbon").throughput.start_s
    assert_allclose(np.diff(start_s), 600)
