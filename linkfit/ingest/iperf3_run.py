"""One iperf3 test as its readers hand it on: intervals, totals and what was asked for.

The JSON and the text reader build these values; `iperf3_samples` turns them into a Trace. All
times are seconds since the test began, all directions are those of the link.
"""

from dataclasses import dataclass
from typing import NamedTuple

# Clocks of boards without a battery start in 1970 or 2000; iperf3 itself is of 2009.
_EARLIEST_CLOCK_S = 1.2e9
_LATEST_CLOCK_S = 4.1e9


def is_clock(time_s: float) -> bool:
    """Whether `time_s` since 1970 can be the time of a test: the clock was set."""
    return _EARLIEST_CLOCK_S < time_s < _LATEST_CLOCK_S


class Note(NamedTuple):
    """A repair or a finding before it knows the name of its source."""

    kind: str
    n_samples: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """What one end counted in one stretch of time, all parallel streams of a direction together.

    `is_sender` tells whether the counting end sent these bytes (it then counts what it wrote,
    not what arrived). `rtt_s` is 0 where TCP did not report it; `n_datagrams` counts UDP
    datagrams, lost ones included, and is 0 for TCP.
    """

    start_s: float
    duration_s: float
    n_bytes: float
    is_up: bool
    is_sender: bool
    is_omitted: bool = False
    n_streams: int = 1
    rtt_s: float = 0.0
    peer_window_bytes: float = 0.0
    congestion_window_bytes: float = 0.0
    n_datagrams: int = 0
    n_lost: int = 0

    @property
    def end_s(self) -> float:
        """When the interval ends, since the start of the test. [s]"""
        return self.start_s + self.duration_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """What both ends counted over the whole test in one direction; 0 where it is not said."""

    is_up: bool
    sent_bytes: float = 0.0
    received_bytes: float = 0.0
    received_s: float = 0.0
    n_datagrams: int = 0
    n_lost: int = 0
    jitter_s: float = 0.0
    rtt_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One test: what was asked for, what was counted, how it ended.

    `target_bps` is the rate the sender was told to keep, per stream (0: as fast as it goes,
    None: the report does not say). `window_bytes` is the socket buffer asked for (0: automatic).
    `far_intervals` are the other end's own, where the report carries them (--get-server-output).
    `cookie` is the same in every report of one test.
    `error` is iperf3's own text when the test did not end well.
    """

    format: str
    transport: str = "unknown"
    is_server: bool = False
    peer: str = ""
    started_s: float | None = None
    target_bps: float | None = None
    window_bytes: float = 0.0
    block_bytes: float = 0.0
    intervals: tuple[Interval, ...] = ()
    far_intervals: tuple[Interval, ...] = ()
    totals: tuple[Totals, ...] = ()
    cookie: str = ""
    error: str = ""
    repairs: tuple[Note, ...] = ()
    findings: tuple[Note, ...] = ()
