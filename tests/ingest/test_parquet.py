import io
import sys
from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import TraceError

pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")


def parquet(**columns):
    buffer = io.BytesIO()
    pq.write_table(pa.table(columns), buffer)
    return buffer.getvalue()


def times(zone):
    return [datetime(2026, 7, 1, 12, 0, i, tzinfo=zone) for i in range(5)]


def test_typed_columns_with_nulls(read, kinds):
    data = parquet(
        time=pa.array(times(UTC), pa.timestamp("ms", "UTC")),
        up_bps=pa.array([1, 2, None, 4, 5], pa.int64()),
        server=pa.array(["ridge"] * 5),
    )
    trace = read(data)
    assert_allclose(trace.throughput.rates_bps, [1, 2, 4, 5])
    assert trace.throughput.start_s[0] == times(UTC)[0].timestamp()
    assert kinds(trace)["not measured: up_bps"] == 1
    assert (trace.sources[0].peer, trace.sources[0].has_clock) == ("ridge", True)


def test_times_without_zone_are_local(read):
    data = parquet(time=pa.array(times(None), pa.timestamp("us")), up_bps=np.arange(5.0))
    start_s = read(data, timezone="Europe/Berlin").throughput.start_s[0]
    assert start_s == times(UTC)[0].timestamp() - 2 * 3600


def test_a_cut_file_is_refused(read):
    data = parquet(t_s=np.arange(100.0), up_bps=np.arange(100.0))
    with pytest.raises(TraceError, match="expected a whole Parquet file"):
        read(data[:-40])


def test_without_the_extra_it_is_named(read, monkeypatch):
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(TraceError, match=r"pip install 'linkfit\[parquet\]'"):
        read(b"PAR1" + b"\0" * 20)
