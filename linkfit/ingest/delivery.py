"""Packet delivery traces: one line per chance to deliver a packet, in ms since the start.

The capture kept the link saturated, so the chances are capacity itself, as whole IP packets.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from linkfit.errors import TraceError
from linkfit.ingest.trace import (
    LAYERS,
    TRANSPORTS,
    Finding,
    Repair,
    Source,
    ThroughputSamples,
    Trace,
)

PACKET_BITS = 1500 * 8  # every line stands for one packet of 1500 bytes
BIN_MS = 100  # fine enough to keep outages and fades, coarse enough to hold several packets
_MAX_SHOWN = 20
_LONGEST_MS = 30 * 86_400_000  # longer captures of single packets are damaged files


def read_delivery(text: str, name: str, sha256: str, *, direction: str) -> Trace:
    """A delivery trace as saturating samples of 100 ms at the IP layer.

    Parameters
    ----------
    text : str
        One whole number a line, milliseconds since the start of the capture.
    name, sha256 : str
        What the file is called in messages, and its sum.
    direction : {"up", "down"}
        The file itself does not say it.

    Raises
    ------
    TraceError
        If a line is no whole number of at least 0: all of them are named.

    Notes
    -----
    Bins run from the first chance (a trace need not start at 0: what was before it is not
    known) to the last; a last bin that is not full is left out, unless it is the only one.
    """
    times_ms = _times_ms(text.splitlines(), name)
    repairs, findings = [], []
    n_falls = int((np.diff(times_ms) < 0).sum())
    if n_falls:
        times_ms = np.sort(times_ms)
        repairs.append(
            Repair(
                source=name,
                kind="rows out of order",
                n_samples=n_falls,
                text=f"{n_falls} lines lay before the line above them; sorted by time",
            )
        )
    first_ms = int(times_ms[0])
    if first_ms:
        findings.append(
            Finding(
                source=name,
                kind="late start",
                n_samples=1,
                text=f"the first chance to send comes at {first_ms} ms; the time before it is "
                "taken as not measured",
            )
        )
    length_ms = int(times_ms[-1] - times_ms[0])
    if length_ms > _LONGEST_MS:
        raise TraceError(
            f"{name}: expected ms within {_LONGEST_MS // 86_400_000} days, got a last line "
            f"{length_ms:,} ms after the first; is the file damaged or in another unit?"
        )
    samples = _binned(times_ms, is_up=direction == "up")
    source = Source(name=name, format="packet delivery", sha256=sha256, has_clock=False)
    return Trace(
        sources=(source,), throughput=samples, repairs=tuple(repairs), findings=tuple(findings)
    )


def _times_ms(lines: Iterable[str], name: str) -> NDArray[np.int64]:
    times, problems = [], []
    for row, line in enumerate(lines, start=1):
        cell = line.strip()
        if cell.isdecimal() and cell.isascii() and len(cell) < 16:
            times.append(int(cell))
        elif cell:
            problems.append(f"{name}:{row}:1: expected a whole number of ms, got {cell[:40]!r}")
    if problems:
        more = len(problems) - _MAX_SHOWN
        tail = [f"… and {more} more"] if more > 0 else []
        raise TraceError("\n".join([*problems[:_MAX_SHOWN], *tail]))
    if not times:
        raise TraceError(f"{name}: expected one whole number of ms a line, got blank lines only")
    return np.array(times, dtype=np.int64)


def _binned(times_ms: NDArray[np.int64], *, is_up: bool) -> ThroughputSamples:
    since_ms = times_ms - times_ms[0]
    n_full = (int(since_ms[-1]) + 1) // BIN_MS
    if n_full:
        counts = np.bincount(since_ms[since_ms < n_full * BIN_MS] // BIN_MS, minlength=n_full)
        duration_s = BIN_MS / 1e3
    else:
        counts, duration_s = np.array([since_ms.size]), (int(since_ms[-1]) + 1) / 1e3
    n = counts.size
    return ThroughputSamples(
        start_s=times_ms[0] / 1e3 + np.arange(n) * duration_s,
        duration_s=np.broadcast_to(duration_s, (n,)),
        bits=counts * float(PACKET_BITS),
        is_up=np.broadcast_to(is_up, (n,)),
        saturating=np.broadcast_to(True, (n,)),
        transport=np.broadcast_to(TRANSPORTS.index("unknown"), (n,)),
        layer=np.broadcast_to(LAYERS.index("ip"), (n,)),
        n_streams=np.broadcast_to(0, (n,)),
        source=np.broadcast_to(0, (n,)),
    )
