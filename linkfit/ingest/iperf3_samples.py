"""One iperf3 test to throughput and latency samples, with its repairs and findings."""

import numpy as np

from linkfit.ingest.iperf3_bins import Bin, cleaned, throughput_bins
from linkfit.ingest.iperf3_limits import note_traps, saturating
from linkfit.ingest.iperf3_run import Interval, Run, Totals
from linkfit.ingest.notes import Notes
from linkfit.ingest.trace import (
    LAYERS,
    TRANSPORTS,
    LatencySamples,
    Source,
    ThroughputSamples,
    Trace,
)
from linkfit.units import BITS_PER_BYTE


def run_to_trace(run: Run, source: Source) -> Trace:
    """The samples, repairs and findings of one test."""
    notes = Notes(source.name)
    for note in run.repairs:
        notes.repair(*note)
    for note in run.findings:
        notes.find(*note)
    throughput, latency = [], []
    for is_up in (True, False):
        near = cleaned([i for i in run.intervals if i.is_up is is_up], notes)
        far = [i for i in run.far_intervals if i.is_up is is_up]
        totals = next((t for t in run.totals if t.is_up is is_up), Totals(is_up=is_up))
        bins = throughput_bins(run, near, far, totals, notes)
        flags = saturating(run, bins, near, notes)
        note_traps(run, bins, totals, flags, notes)
        throughput.append(_throughput(run, bins, flags, is_up=is_up))
        latency.append(_latency(run, near, bins, totals))
    if run.error and run.intervals:
        notes.find("test ended early", 1, f"iperf3 said {run.error!r}")
    return Trace(
        sources=(source,),
        throughput=ThroughputSamples.concatenate(throughput, [0, 0]),
        latency=LatencySamples.concatenate(latency, [0, 0]),
        repairs=notes.repairs,
        findings=notes.findings,
    )


def _throughput(run: Run, bins: list[Bin], flags: list[bool], *, is_up: bool) -> ThroughputSamples:
    n = len(bins)
    base_s = run.started_s or 0.0
    return ThroughputSamples(
        start_s=np.array([base_s + b.start_s for b in bins]),
        duration_s=np.array([b.duration_s for b in bins]),
        bits=np.array([b.n_bytes * BITS_PER_BYTE for b in bins]),
        is_up=np.full(n, is_up),
        saturating=np.array(flags, dtype=np.bool_),
        transport=np.full(n, TRANSPORTS.index(run.transport)),
        layer=np.full(n, LAYERS.index("goodput")),
        n_streams=np.array([b.n_streams for b in bins]),
        source=np.zeros(n),
    )


def _latency(run: Run, near: list[Interval], bins: list[Bin], totals: Totals) -> LatencySamples:
    """TCP's smoothed round trip at the end of each bin, else its mean over the test.

    The kernel smooths it over about eight round trips (RFC 6298 section 2): one a second is
    all that is independent.
    """
    base_s = run.started_s or 0.0
    timed = [i for i in near if i.rtt_s > 0]
    rows = []
    for sample in bins:
        inside = [i for i in timed if sample.start_s <= i.start_s < sample.end_s]
        if inside:
            rows.append((base_s + inside[-1].end_s, inside[-1].rtt_s))
    if timed and not rows:  # the rate was unusable (a tiny transfer), the round trip is not
        rows = [(base_s + timed[-1].end_s, timed[-1].rtt_s)]
    if not timed and totals.rtt_s > 0 and bins:
        rows = [(base_s + bins[-1].end_s, totals.rtt_s)]
    n = len(rows)
    return LatencySamples(
        time_s=np.array([time_s for time_s, _ in rows]),
        rtt_s=np.array([rtt_s for _, rtt_s in rows]),
        spread_s=np.zeros(n),
        n_probes=np.ones(n),
        n_lost=np.zeros(n),
        loaded=np.ones(n),
        source=np.zeros(n),
    )
