import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import TraceError


def rows(n=12, seed=5):
    """Invented uploads: start [s], payload [MB], duration [s], rate [Mbit/s], signal [dBm]."""
    rng = np.random.default_rng(seed)
    sizes, durations = rng.uniform(0.4, 6.0, n), rng.uniform(0.5, 4.0, n)
    return [
        f"{10 * (i + 1)}.5,{s:.6g},{d:.3f},{8 * float(f'{s:.6g}') / float(f'{d:.3f}'):.6g},"
        f"{-80 - i % 5},1,"
        for i, (s, d) in enumerate(zip(sizes, durations, strict=True))
    ]


def test_columns_without_names_are_told_by_their_arithmetic(read, kinds):
    trace = read("\n".join(rows()) + "\n", direction="up")
    first = rows()[0].split(",")
    assert_allclose(trace.transfers.size_bytes[0], float(first[1]) * 1e6)
    assert_allclose(trace.transfers.rates_bps[0], float(first[3]) * 1e6, rtol=1e-5)
    assert trace.transfers.start_s[0] == 10.5
    assert trace.transfers.is_up.all()
    assert "columns told by arithmetic" in kinds(trace)


def test_their_direction_must_be_said(read):
    with pytest.raises(TraceError, match=r"expected to know which way .* say direction='up'"):
        read("\n".join(rows()) + "\n")


def test_columns_by_position_with_units(read):
    trace = read(
        "1.0,500,250\n2.0,700,350\n3.0,100,50\n",
        columns={1: "start", 2: "size", 3: "duration"},
        units={2: "kB", 3: "ms"},
        direction="down",
    )
    assert_allclose(trace.transfers.size_bytes, [5e5, 7e5, 1e5])
    assert_allclose(trace.transfers.duration_s, [0.25, 0.35, 0.05])


def test_numbers_that_obey_no_law_ask_for_the_options(read):
    text = "1.0,500.5,250\n2.0,700.5,35\n3.0,100.5,50\n"
    with pytest.raises(TraceError, match=r":1: expected a header line, got '1.0, 500.5, 250'; say"):
        read(text, direction="up")


@pytest.mark.shared
def test_real_uploads_without_header(shared_traces):
    from linkfit.ingest.reader import read_trace

    path = shared_traces / "uploads-lte" / "periodic" / "10" / "t1_1.txt"
    samples = read_trace(path, direction="up").transfers
    table = np.array([[float(c) for c in line.split(",")[:4]] for line in path.read_text().split()])
    assert_allclose(samples.start_s, table[:, 0])
    assert_allclose(samples.size_bytes, table[:, 1] * 1e6)
    assert_allclose(samples.rates_bps, table[:, 3] * 1e6, rtol=1e-4)
