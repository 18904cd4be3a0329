import json

import pytest
from numpy.testing import assert_allclose

from linkfit.errors import TraceError
from linkfit.ingest import records


def lines(n=20):
    return "".join(
        json.dumps({"time": f"2026-01-01T00:00:{i:02d}Z", "up_mbps": i, "down_mbps": None}) + "\n"
        for i in range(n)
    )


def test_one_object_a_line(read, kinds):
    trace = read(lines())
    assert_allclose(trace.throughput.rates_bps, [i * 1e6 for i in range(20)])
    assert kinds(trace)["not measured: down_mbps"] == 20
    assert trace.sources[0].format == "JSON records"


def test_an_array_of_objects_is_the_same(read):
    array = "[" + ",\n".join(lines().splitlines()) + "]"
    assert_allclose(read(array).throughput.bits, read(lines()).throughput.bits)


def test_chunks_and_numbers_as_text(read, monkeypatch):
    monkeypatch.setattr(records, "CHUNK_ROWS", 3)
    text = "".join(f'{{"t_s": {i}, "up_bps": "{i}.5"}}\n' for i in range(10))
    assert_allclose(read(text).throughput.rates_bps, [i + 0.5 for i in range(10)])


def test_a_last_line_cut_off_is_left_out_and_counted_once(read, kinds):
    trace = read(lines() + '{"time": "2026-01')
    assert len(trace.throughput) == 20
    assert kinds(trace)["cut off"] == 1


def test_every_bad_line_and_value_is_named(read):
    text = lines() + '[1]\n{"time": "2026-01-01T00:01:00Z", "up_mbps": "fast"}\n{broken}\n'
    with pytest.raises(TraceError) as caught:
        read(text)
    assert [p.split("measurement:")[1][:3] for p in str(caught.value).split("\n")] == [
        "21:", "23:", "22:",
    ]  # fmt: skip
    assert "got 'fast'" in str(caught.value)


def test_a_broken_array_is_placed(read):
    with pytest.raises(TraceError, match=r"measurement:1:\d+: expected a JSON array of objects"):
        read('[{"t_s": 1, "up_bps": 2}, {"t_s": 2')
    with pytest.raises(TraceError, match="item 2: expected a JSON object, got '7'"):
        read('[{"t_s": 1, "up_bps": 2}, 7]')


def test_other_json_is_no_measurement(read):
    with pytest.raises(TraceError, match="expected a column of rates"):
        read('{"schema": "somebody/else/1", "name": "x"}\n')
