"""The measured links kept beside a checkout, by name, and the drives with real uploads."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

import linkfit as lf
from linkfit.ingest.trace import Trace
from linkfit.link.series import MeasuredRuns, measured_runs

BESIDE = Path(__file__).parents[3] / "shared" / "traces"
INTERVALS = ("10", "30")  # seconds between two uploads of a drive
DRIVES = (1, 2, 3, 4, 5)


@dataclass(frozen=True)
class Link:
    """One direction of one measured link."""

    name: str
    trace: Trace
    direction: str
    runs: MeasuredRuns


def measured_links(folder):
    """Every direction that was kept saturated."""
    files = sorted((folder / "delivery").iterdir())
    traces = [(path.name, lf.read_trace(path), path.suffix[1:]) for path in files]
    satellite = lf.read_trace(folder / "leo-1s" / "iperf.csv")
    traces += [(f"leo-1s {d}", satellite, d) for d in ("down", "up")]
    for place in sorted((folder / "iperf3" / "repeated-uplink").iterdir()):
        traces.append((f"repeated-uplink {place.name}", lf.read_trace(place), "up"))
    return [Link(name, trace, d, measured_runs(trace, d)) for name, trace, d in traces]


def drives(folder):
    """Uploads at fixed intervals, which chose no good moments, as {(interval, drive): Trace}."""
    place = folder / "uploads-lte" / "periodic"
    return {
        (interval, drive): lf.read_trace(place / interval / f"t1_{drive}.txt", direction="up")
        for interval in INTERVALS
        for drive in DRIVES
    }


def clocked_s(runs):
    """Start of every measured second; runs without a clock lie ten minutes apart. [s]"""
    apart_s = runs.first[:-1] + 600.0 * np.arange(runs.n_runs)
    start_s = np.where(np.isfinite(runs.start_s), runs.start_s, apart_s)
    within_s = np.arange(runs.rates_bps.size) - np.repeat(runs.first[:-1], runs.lengths_s)
    return np.repeat(start_s, runs.lengths_s) + within_s
