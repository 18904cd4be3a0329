"""Reading a long table against what pandas itself needs for the same rows, in the same run."""

import time
import tracemalloc

import numpy as np
import pandas as pd
import pytest

from linkfit.ingest.reader import read_trace

N_ROWS = 300_000


@pytest.fixture(scope="module")
def long_table(tmp_path_factory):
    path = tmp_path_factory.mktemp("long") / "year"
    rng = np.random.default_rng(7)
    frame = pd.DataFrame(
        {
            "timestamp_s": 1_767_225_600 + np.arange(N_ROWS),
            "upload_bps": rng.integers(10**5, 2 * 10**7, N_ROWS),
            "rtt_ms": rng.integers(200, 999, N_ROWS) / 10,
        }
    )
    frame.to_csv(path, index=False)
    return path


def floor(path):
    dtypes = dict.fromkeys(("timestamp_s", "upload_bps", "rtt_ms"), np.float64)
    return sum(len(chunk) for chunk in pd.read_csv(path, chunksize=1_000_000, dtype=dtypes))


def test_reading_takes_a_small_multiple_of_parsing(benchmark, long_table):
    begin = time.perf_counter()
    assert floor(long_table) == N_ROWS
    floor_s = time.perf_counter() - begin
    trace = benchmark(lambda: read_trace(long_table, columns={"upload_bps": "rate up"}))
    assert len(trace.throughput) == N_ROWS
    benchmark.extra_info["floor_s"] = floor_s  # compare with the mean: the bar is 1.5 times


def test_a_sample_costs_two_numbers(long_table):
    trace = read_trace(long_table, columns={"upload_bps": "rate up"})
    samples = trace.throughput
    stored = sum(
        getattr(samples, name).itemsize
        for name in type(samples).__dataclass_fields__
        if getattr(samples, name).strides != (0,)
    )
    assert stored == 16


def test_memory_stays_near_the_result(long_table):
    floor(long_table)  # imports and caches are no part of the peak
    tracemalloc.start()
    try:
        trace = read_trace(long_table, columns={"upload_bps": "rate up"})
        peak_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    chunk_bytes = 250_000 * 8 * 12  # a dozen columns of one chunk
    assert peak_bytes < 16 * len(trace.throughput) + 2 * chunk_bytes
