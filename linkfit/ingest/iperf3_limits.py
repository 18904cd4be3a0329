"""What held an iperf3 sender back: the link, a set rate, a window, or the length of the test."""

from statistics import fmean, median

from linkfit.ingest.iperf3_bins import SHORTEST_BIN_S, Bin
from linkfit.ingest.iperf3_run import Interval, Run, Totals
from linkfit.ingest.notes import Notes
from linkfit.units import BITS_PER_BYTE, format_duration, format_rate, format_share, format_size

# Below this share of the asked rate the link, not the asking, set the pace.
_FULL_BELOW_FRAC = 0.95
# From this share of window / RTT on, the window set the pace.
_WINDOW_BOUND_FRAC = 0.7
_SMALL_TRANSFER_BYTES = 10_000
_PLATEAU_WITHIN_FRAC = 0.01
_FEWEST_FOR_PLATEAU = 5
_COARSE_FRAC = 0.2
_BUFFERED_FRAC = 0.05


def saturating(run: Run, bins: list[Bin], near: list[Interval], notes: Notes) -> list[bool]:
    """For each bin, whether the sender tried for all that it could get.

    A sample at the asked rate got all it asked for and is a lower bound; one below it is what
    the link gave. A window that binds, and a test too small to fill the link, make lower bounds.
    """
    if not bins:
        return []
    if _is_window_bound(run, bins, near, notes):
        return [False] * len(bins)
    if run.transport != "udp" and sum(b.n_bytes for b in bins) < _SMALL_TRANSFER_BYTES:
        notes.find("transfer too small", len(bins), "under 10 kB say nothing of a full link")
        return [False] * len(bins)
    return [not b.is_short and _wanted_more(run, b) for b in bins]


def _wanted_more(run: Run, sample: Bin) -> bool:
    if sample.is_overrun:
        return True
    if run.target_bps is None:  # TCP goes as fast as it can unless told, UDP at 1 Mbit/s
        return run.transport != "udp"
    if run.target_bps == 0:
        return True
    asked_bytes = run.target_bps * sample.n_streams * sample.duration_s / BITS_PER_BYTE
    # writes come in whole blocks: up to two of each stream may have moved to another interval
    slack_bytes = 2 * run.block_bytes * sample.n_streams
    return sample.n_bytes + slack_bytes < _FULL_BELOW_FRAC * asked_bytes


def _is_window_bound(run: Run, bins: list[Bin], near: list[Interval], notes: Notes) -> bool:
    """Whether the rate is that of a window: window / RTT (RFC 6349 section 3.3.1)."""
    timed = [i for i in near if i.rtt_s > 0]
    if run.transport == "udp" or not timed:
        return False
    rtt_s = median(i.rtt_s for i in timed)
    n_streams = bins[0].n_streams
    windows_bytes = [run.window_bytes * n_streams] if run.window_bytes > 0 else []
    peer_bytes = median(i.peer_window_bytes for i in timed)
    # the peer's window binds only where the congestion window would have let more out
    if 0 < peer_bytes <= median(i.congestion_window_bytes for i in timed):
        windows_bytes.append(peer_bytes)
    rate_bps = fmean(b.n_bytes * BITS_PER_BYTE / b.duration_s for b in bins)
    for window_bytes in windows_bytes:
        limit_bps = window_bytes * BITS_PER_BYTE / rtt_s
        if rate_bps >= _WINDOW_BOUND_FRAC * limit_bps:
            notes.find(
                "window limited", len(bins),
                f"{format_rate(rate_bps)} is what a window of {format_size(window_bytes)} allows "
                f"at {format_duration(rtt_s)}: lower bounds; use -P 4 or a larger -w",
            )  # fmt: skip
            return True
    return False


def note_traps(
    run: Run, bins: list[Bin], totals: Totals, is_saturating: list[bool], notes: Notes
) -> None:
    """Findings about one direction that change no sample."""
    _note_asking(run, bins, is_saturating, notes)
    _note_granularity(run, bins, notes)
    if totals.n_datagrams:
        lost_frac = totals.n_lost / totals.n_datagrams
        notes.find(
            f"datagrams {'up' if totals.is_up else 'down'}", totals.n_datagrams,
            f"{totals.n_lost} of {totals.n_datagrams} datagrams lost ({format_share(lost_frac)}), "
            f"jitter {format_duration(totals.jitter_s)}",
        )  # fmt: skip
    surplus_bytes = totals.sent_bytes - totals.received_bytes
    if (
        run.transport != "udp"
        and totals.received_bytes > 0
        and surplus_bytes > _BUFFERED_FRAC * totals.received_bytes
    ):
        notes.find(
            "sender counted more than arrived", len(bins),
            f"{format_size(surplus_bytes)} still waited in buffers when the test ended",
        )  # fmt: skip


def _note_asking(run: Run, bins: list[Bin], is_saturating: list[bool], notes: Notes) -> None:
    n_bounds = is_saturating.count(False)
    if n_bounds and run.target_bps:
        notes.find(
            "set rate", n_bounds,
            f"the test asked for {format_rate(run.target_bps)} a stream and got it: lower bounds",
        )  # fmt: skip
    if run.target_bps is not None or run.transport == "udp" or not bins:
        return
    notes.find(
        "set rate not said", len(bins),
        "this report does not say whether a rate was set (-b); taken as full speed",
    )  # fmt: skip
    rates_bps = [b.n_bytes * BITS_PER_BYTE / b.duration_s for b in bins]
    middle_bps = median(rates_bps)
    n_level = sum(abs(r - middle_bps) <= _PLATEAU_WITHIN_FRAC * middle_bps for r in rates_bps)
    if len(bins) >= _FEWEST_FOR_PLATEAU and n_level > len(bins) / 2 and middle_bps > 0:
        notes.find(
            "plateau", n_level,
            f"{n_level} of {len(bins)} samples lie within 1 % of {format_rate(middle_bps)}: a set "
            "rate or a limit of the plan, perhaps not the link",
        )  # fmt: skip


def _note_granularity(run: Run, bins: list[Bin], notes: Notes) -> None:
    if run.transport != "tcp" or not run.block_bytes or not bins:
        return
    per_bin_bytes = fmean(b.n_bytes for b in bins) / bins[0].n_streams
    if 0 < per_bin_bytes < run.block_bytes / _COARSE_FRAC:
        notes.find(
            "coarse counting", len(bins),
            f"writes of {format_size(run.block_bytes)} are more than "
            f"{format_share(_COARSE_FRAC)} of what a sample of about {SHORTEST_BIN_S:.0f} s "
            "carries: samples jump; use -l 8K",
        )  # fmt: skip
