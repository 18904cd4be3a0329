"""Transfers that start now: forecasts given the last minute against forecasts of any time.

``LINKFIT_STARTS=40 pytest tests/accuracy/test_starting_now.py -s`` prints the README's figures.
Each direction is fitted on the first 60 % of its seconds; at many seconds of the rest, the 60 s
before are given as `recent` and the transfer that starts there takes what the measured capacity
lets it take, nothing of TCP in it (as in `backtest`, whose forecasts of any time stand beside).
"""

import os
from dataclasses import dataclass, replace

import numpy as np
import pytest

import linkfit as lf
from linkfit.forecast.scores import crps
from linkfit.ingest.trace import Trace
from linkfit.link.model import LinkModel
from linkfit.link.series import measured_runs

pytestmark = [pytest.mark.shared, pytest.mark.slow]
SIZES_BYTES = (5e5, 5e6)
WIRE_BITS_PER_BYTE = 8 * 1500 / 1448
RECENT_S = 60.0
LEAST_SEEN_S = 5  # of the run that is under way
N_STARTS = int(os.environ.get("LINKFIT_STARTS", "20"))
N_DRAWS = 400


@dataclass
class Link:
    """One measured direction: its seconds with their times, and what the first 60 % fit."""

    trace: Trace
    direction: str
    rates_bps: np.ndarray
    time_s: np.ndarray
    seen_s: np.ndarray  # how long the run has been under way
    cut: int
    model: LinkModel

    @classmethod
    def of(cls, trace, direction):
        samples = trace.throughput
        trace = replace(trace, throughput=samples.take(samples.is_up == (direction == "up")))
        runs = measured_runs(trace, direction)
        begin_s = np.where(np.isnan(runs.start_s), trace.throughput.start_s[0], runs.start_s)
        seen_s = np.concatenate([np.arange(n) for n in runs.lengths_s])
        time_s = np.repeat(begin_s, runs.lengths_s) + seen_s
        cut = int(0.6 * time_s.size)
        model = lf.fit_link(between(trace, -np.inf, time_s[cut]), seed=1)
        return cls(trace, direction, runs.rates_bps, time_s, seen_s, cut, model)

    def starts(self):
        later = np.arange(self.cut, self.time_s.size)
        later = later[self.seen_s[later] >= LEAST_SEEN_S]
        return later[np.unique(np.linspace(0, later.size - 1, N_STARTS).astype(int))]

    def time_taken_s(self, start, bits):
        """From second `start` on, through the runs that follow; inf where they end before."""
        carried = np.concatenate(([0.0], np.cumsum(self.rates_bps[start:])))
        if carried[-1] < bits:
            return np.inf
        last = int(np.searchsorted(carried, bits)) - 1
        return last + (bits - carried[last]) / (carried[last + 1] - carried[last])


def between(trace, low_s, high_s):
    start_s = trace.throughput.start_s
    keep = (start_s >= low_s) & (start_s < high_s - 1e-6)
    return replace(trace, throughput=trace.throughput.take(keep))


@pytest.fixture(scope="module")
def links(shared_traces):
    found = {}
    for path in sorted((shared_traces / "delivery").iterdir()):
        found[path.name] = Link.of(lf.read_trace(path), path.suffix[1:])
    satellite = lf.read_trace(shared_traces / "leo-1s" / "iperf.csv")
    for direction in ("up", "down"):
        found[f"satellite {direction}"] = Link.of(satellite, direction)
    for folder in sorted((shared_traces / "iperf3" / "repeated-uplink").glob("server-*")):
        found[f"repeated {folder.name}"] = Link.of(lf.read_trace(folder), "up")
    return found


def scored(link, size_bytes):
    """CRPS [s] and hits of the 90 % interval, starting now and at any time; shape (2, 2, n)."""
    ask = {"size_bytes": size_bytes, "direction": link.direction, "rtt_s": 0.0}
    any_time = lf.predict_transfer(link.model, **ask)
    rows = []
    for start in link.starts().tolist():
        taken_s = link.time_taken_s(start, size_bytes * WIRE_BITS_PER_BYTE)
        if np.isinf(taken_s):
            continue
        now_s = link.time_s[start]
        recent = between(link.trace, now_s - RECENT_S, now_s)
        now = lf.predict_transfer(link.model, **ask, recent=recent, n_draws=N_DRAWS, seed=start)
        row = []
        for forecast in (now, any_time):
            low_s, high_s = forecast.quantile([0.05, 0.95])
            row.append((crps(forecast.draws, [taken_s])[0], low_s <= taken_s <= high_s))
        rows.append(row)
    return np.array(rows, dtype=float).transpose(1, 2, 0)


def test_the_last_minute_sharpens_forecasts_and_never_spoils_them(links):
    ratios = {size: [] for size in SIZES_BYTES}
    hits = {size: [] for size in SIZES_BYTES}
    print(
        f"\n{'link':24s} {'MB':>5s} {'n':>4s} {'CRPS ratio':>10s} {'covers':>7s} {'any time':>8s}"
    )
    for name, link in links.items():
        for size in SIZES_BYTES:
            now, any_time = scored(link, size)
            ratios[size].append(now[0].mean() / any_time[0].mean())
            # the two shortest captures leave some 50 s, two to four transfers of 5 MB that do
            # not overlap: their ratios are mostly chance
            rest_s = link.time_s.size - link.cut
            assert ratios[size][-1] <= (1.0 if rest_s >= 90 else 1.15), name
            hits[size].append(now[1])
            covers = f"{now[1].mean():7.2f} {any_time[1].mean():8.2f}"
            print(
                f"{name:24s} {size / 1e6:5.1f} {now[1].size:4d} {ratios[size][-1]:10.2f} {covers}"
            )
    for size in SIZES_BYTES:
        covered = np.concatenate(hits[size]).mean()
        middle, worst = np.median(ratios[size]), max(ratios[size])
        print(f"{size / 1e6:.1f} MB: median {middle:.3f}, worst {worst:.2f}, covers {covered:.3f}")
        assert middle <= {5e5: 0.65, 5e6: 0.85}[size]
        assert 0.86 <= covered <= 0.95
