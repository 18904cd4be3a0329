import xml.etree.ElementTree as ET
from datetime import UTC, datetime

import numpy as np
import pytest

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.link_figures import write_link_figures


@pytest.fixture
def link(rng):
    """Two runs a direction: down with hours of the day, up without."""
    down = [
        Trace.from_rates(
            rng.gamma(4, 5e6, 200), direction="down", start=datetime(2026, 6, d, tzinfo=UTC)
        )
        for d in (15, 17)
    ]
    up = [Trace.from_rates(rng.gamma(4, 1.5e6, 200), direction="up") for _ in range(2)]
    return fit_link(Trace.merge([*down, *up]))


def test_all_figures_are_written_and_the_same_on_a_second_run(link, tmp_path):
    folders = [tmp_path / "a", tmp_path / "b"]
    for folder in folders:
        folder.mkdir()
    first, second = (write_link_figures(link, f, kind="svg", seed=1) for f in folders)
    names = ["time-series", "quantiles", "autocorrelation", "variance-time"]
    assert [p.name for p in first] == [f"{d}-{n}.svg" for d in ("up", "down") for n in names]
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name
        ET.parse(one)
        assert one.stat().st_size < 200_000


def test_a_direction_that_was_not_measured_and_a_curve_too_short_are_left_out(tmp_path):
    link = fit_link(Trace.from_rates(np.array([5e6, 6e6]), direction="up"))
    written = write_link_figures(link, tmp_path, kind="png", seed=1)
    assert [path.name for path in written] == ["up-time-series.png", "up-quantiles.png"]
