"""Predicted against measured: runs of a real kernel's TCP over an emulated link of known capacity.

``pytest tests/accuracy/test_kernel_tcp.py -s`` prints the tables.
"""

import numpy as np
import pytest
from kernel_score import errors, grouped, scored_runs, show

pytestmark = [pytest.mark.shared, pytest.mark.slow]


@pytest.fixture(scope="module")
def runs(shared_traces):
    return scored_runs(shared_traces.parent / "groundtruth")


def test_without_random_loss(runs):
    clean = [row for row in runs if row["loss"] == "0.0"]
    show("all", {("",): clean})
    show("MB", grouped(clean, "size"))
    show("congestion control, MB", grouped(clean, "cc", "size"))
    show("trace", grouped(clean, "trace"))
    assert len(clean) > 400
    assert np.median(errors(clean)) < 0.005
    assert np.quantile(errors(clean), 0.9) < 0.05
    by_size = grouped(clean, "size")
    for size in (0.1, 1.0, 10.0):
        assert np.median(errors(by_size[(size,)])) < 0.008
    assert np.median(errors(by_size[(100.0,)])) < 0.02
    window_based = grouped(clean, "cc")
    assert np.quantile(errors(window_based[("cubic",)]), 0.9) < 0.03
    assert np.quantile(errors(window_based[("reno",)]), 0.9) < 0.005
    assert np.median(errors(window_based[("bbr",)])) < 0.012


def test_with_random_loss(runs):
    lossy = [row for row in runs if row["loss"] in ("burst", "0.01")]
    show("loss, congestion control", grouped(lossy, "loss", "cc"))
    show("trace, congestion control, MB, loss", grouped(lossy, "trace", "cc", "size", "loss"))
    assert len(lossy) >= 30
    assert np.median(errors(lossy)) < 0.08
    # 1 MB under CUBIC is bimodal: means over repeated runs compare, single runs do not
    repeats = grouped(lossy, "trace", "cc", "size", "loss")[("const4.rate", "cubic", 1.0, "0.01")]
    measured_s = np.mean([row["measured_s"] for row in repeats])
    assert repeats[0]["mean_s"] == pytest.approx(measured_s, rel=0.15)
