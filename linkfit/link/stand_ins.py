"""Stand-ins for saturating measurements: real transfers, and floors from passive counters."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.ingest.trace import Trace, TransferSamples
from linkfit.link.latency import PRIOR_MEDIAN_RTT_S, LatencyModel
from linkfit.link.series import (
    GRID_S,
    IP_BITS_PER_TCP_BIT,
    MeasuredRuns,
    runs_of_samples,
    selected_samples,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

_FIRST_WINDOW_BYTES = 14_480.0  # 10 segments of 1448 bytes (RFC 6928 section 2)
_LEAST_SHARE_FRAC = 0.3  # of its duration that a transfer must spend on its bytes to tell a rate
_FLOOR_WINDOW_S = 10
_FLOOR_LEVEL = 0.99


def transfer_runs(
    trace: Trace, direction: str, latency: LatencyModel | None
) -> MeasuredRuns | None:
    """Real transfers of `direction` as runs at their mean rates; None if there is none.

    Notes
    -----
    duration = round trips x round-trip time + size / rate. Round trips are counted (one to open,
    one for the last answer, and one for each doubling of the first window of 10 segments that
    the size needs, RFC 6928); their length is the one measured beside the transfer, else the
    link's idle median, else what a fit of durations to round trips and sizes gives. Transfers
    that spend most of their time on round trips tell nothing of the rate and are left out,
    unless there are no others.
    """
    samples = trace.transfers.take(trace.transfers.is_up == (direction == "up"))
    if not len(samples):
        return None
    n_trips = 2.0 + np.log2(1.0 + samples.size_bytes / _FIRST_WINDOW_BYTES)
    rtt_s = np.where(
        np.isnan(samples.rtt_s), _common_rtt_s(samples, n_trips, latency), samples.rtt_s
    )
    # the last doublings of a transfer overlap with sending at the full rate
    sending_s = samples.duration_s - rtt_s * n_trips
    sending_s = np.maximum(sending_s, 0.1 * samples.duration_s)
    tells = sending_s >= _LEAST_SHARE_FRAC * samples.duration_s
    keep = np.flatnonzero(tells) if tells.any() else np.arange(len(samples))
    has_clock = np.array([source.has_clock for source in trace.sources])[samples.source]
    order = keep[np.lexsort((samples.start_s[keep], np.where(has_clock, -1, samples.source)[keep]))]
    rate_bps = samples.size_bytes * 8.0 * IP_BITS_PER_TCP_BIT / sending_s
    seconds = np.maximum(np.round(sending_s / GRID_S), 1).astype(np.int64)[order]
    return MeasuredRuns(
        rates_bps=np.repeat(rate_bps[order], seconds),
        first=np.concatenate(([0], np.cumsum(seconds))),
        start_s=np.where(has_clock, samples.start_s, np.nan)[order],
    )


def _common_rtt_s(
    samples: TransferSamples, n_trips: "NDArray[np.float64]", latency: LatencyModel | None
) -> float:
    """The round trip for transfers without one of their own. [s]"""
    if latency is not None:
        return float(latency.idle_rtts_s[latency.idle_rtts_s.size // 2])
    if len(samples) < 5:
        return PRIOR_MEDIAN_RTT_S
    # least squares of relative errors, d = a trips + b size; both at least 0
    columns = np.stack((n_trips, samples.size_bytes), axis=1) / samples.duration_s[:, None]
    solution, *_ = np.linalg.lstsq(columns, np.ones(len(samples)), rcond=None)
    longest_s = float(np.min(samples.duration_s / n_trips))
    return float(np.clip(solution[0], 0.0, longest_s))


def floor_runs(trace: Trace, direction: str) -> MeasuredRuns | None:
    """What the link carried at its busiest, as one run; None if nothing was carried.

    Notes
    -----
    The 99th percentile of averages over 10 s of what was asked for: the link can carry at least
    that. Single seconds would take bursts of a buffer for capacity.
    """
    samples, has_clock = selected_samples(trace, direction, saturating=False)
    runs = runs_of_samples(samples, has_clock)
    cumulative = np.concatenate(([0.0], np.cumsum(runs.rates_bps)))
    window = min(_FLOOR_WINDOW_S, runs.rates_bps.size)
    means_bps = (cumulative[window:] - cumulative[:-window]) / window
    floor_bps = float(np.quantile(means_bps, _FLOOR_LEVEL))
    if floor_bps <= 0:
        return None
    return MeasuredRuns(
        rates_bps=np.full(_FLOOR_WINDOW_S, floor_bps),
        first=np.array([0, _FLOOR_WINDOW_S]),
        start_s=np.array([np.nan]),
    )
