"""Runs of a real kernel's TCP over an emulated link of known capacity, and what is predicted.

The runs lie beside a checkout and are not part of the project. Errors are absolute, relative to
the measured duration; where packets are lost at random the median of many drawn outcomes stands
against each single run.
"""

import csv
from collections import defaultdict

import numpy as np
from score_rows import Row

from linkfit.forecast.tcp import transfer_times_s
from linkfit.link.paths import CapacityPaths

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


def scored_runs(folder):
    """Every run of `folder` with its class, measured and predicted duration."""
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


TABLE = "Real kernel TCP over a known capacity"
CLEAN_BARS = {0.1: 0.008, 1.0: 0.008, 10.0: 0.008, 100.0: 0.02}


def rows(folder):
    """Median and 90th percentile of the error without random loss, by size; then with loss."""
    runs = scored_runs(folder)
    clean = [run for run in runs if run["loss"] == "0.0"]
    lossy = [run for run in runs if run["loss"] in ("burst", "0.01")]
    table = []
    for (size,), some in grouped(clean, "size").items():
        table.append(_row(f"{size:g} MB", "median error", some, 0.5, CLEAN_BARS.get(size)))
        table.append(_row(f"{size:g} MB", "90th percentile of error", some, 0.9, None))
    table.append(_row("all without random loss", "median error", clean, 0.5, 0.005))
    table.append(_row("all without random loss", "90th percentile of error", clean, 0.9, 0.05))
    table.append(_row("1 % or bursts of loss", "median error", lossy, 0.5, 0.08))
    return table


def _row(name, measure, runs, level, bar):
    value = float(np.quantile(errors(runs), level))
    return Row(TABLE, name, measure, value, len(runs), bar_high=bar)
