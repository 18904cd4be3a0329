"""Predicted against measured: runs of a real kernel's TCP over an emulated link of known capacity.

``pytest tests/accuracy/test_kernel_tcp.py -s`` prints the tables. The runs lie beside a checkout
and are not part of the project. Errors are absolute, relative to the measured duration; where
packets are lost at random the median of many drawn outcomes stands against each single run.
"""

import csv
from collections import defaultdict

import numpy as np
import pytest

from linkfit.forecast.tcp import transfer_times_s
from linkfit.link.paths import CapacityPaths

pytestmark = [pytest.mark.shared, pytest.mark.slow]
N_OUTCOMES = 101
PACKET_BITS = 12000.0
BURST_LOSSES = {"0.002,0.2,0,0.5": (0.002 / 0.202 * 0.5, 2.5)}  # share lost, packets a burst


def read_rates(path):
    """Lines `t rate`, each rate until the next line; the last line is `end T`."""
    rows = [line.split() for line in path.read_text().splitlines() if line.strip()]
    edges_ms = np.rint(np.array([float(r[0 if r[0] != "end" else 1]) for r in rows]) * 1e3)
    edges_ms = edges_ms.astype(int)
    step_ms = int(np.gcd.reduce(edges_ms))
    rates_bps = np.repeat([float(r[1]) for r in rows[:-1]], np.diff(edges_ms) // step_ms)
    return CapacityPaths.from_rates(rates_bps, step_ms / 1e3)


def read_chances(path):
    """One line for each chance to send 1500 bytes, in ms; the last one ends the loop."""
    per_ms = np.bincount(np.loadtxt(path, dtype=int)).astype(float)
    per_ms[-1] += per_ms[0]  # 0 ms of the next loop
    return CapacityPaths.from_rates(per_ms[1:] * PACKET_BITS * 1e3, 1e-3)


@pytest.fixture(scope="module")
def runs(shared_traces):
    folder = shared_traces.parent / "groundtruth"
    paths = {}
    scored = []
    with (folder / "kernel_tcp.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            name = row["trace"]
            if name not in paths:
                read = read_rates if name.endswith(".rate") else read_chances
                paths[name] = read(folder / name)
            scored.append(predicted(row, paths[name]))
    return scored


def predicted(row, paths):
    """The row's class and its measured and predicted duration."""
    loss_frac, burst = float(row["loss"]), 1.0
    if row["ge"]:
        loss_frac, burst = BURST_LOSSES[row["ge"]]
    times_s = transfer_times_s(
        paths,
        np.full(N_OUTCOMES if loss_frac else 1, float(row["offset_s"])),
        float(row["payload_bytes"]),
        float(row["rtt_ms"]) / 1e3,
        congestion=row["cc"],
        n_flows=int(row["flows"]),
        tls=row["tls"] == "1",
        buffer_bytes=float(row["buffer_bytes"]),
        loss_frac=loss_frac,
        loss_burst_packets=burst,
        hold_s=float(row["max_age_ms"]) / 1e3 or None,
    )
    return {
        "cc": row["cc"],
        "size": float(row["payload_bytes"]) / 1e6,
        "loss": "burst" if row["ge"] else row["loss"],
        "trace": row["trace"].rsplit("/", 1)[-1],
        "measured_s": float(row["duration_s"]),
        "predicted_s": float(np.median(times_s)),
        "mean_s": float(np.mean(times_s)),
    }


def errors(rows):
    return np.array([abs(r["predicted_s"] / r["measured_s"] - 1.0) for r in rows])


def grouped(rows, *keys):
    groups = defaultdict(list)
    for row in rows:
        groups[tuple(row[key] for key in keys)].append(row)
    return dict(sorted(groups.items()))


def show(title, groups):
    print(f"\n{title:<44} runs  median    90 %   worst")
    for name, rows in groups.items():
        e = errors(rows) * 100
        label = " ".join(map(str, name))
        middle, high = np.quantile(e, [0.5, 0.9])
        print(f"{label:<44} {e.size:4d} {middle:6.2f} % {high:5.1f} % {e.max():5.1f} %")


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
