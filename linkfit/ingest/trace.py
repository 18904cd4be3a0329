"""Trace: what was measured, from whatever it was read.

A Trace holds three tables of plain arrays (throughput, latency, real transfers), their sources,
and what was repaired or noticed on the way. Times are seconds since 1970-01-01 UTC; a source that
says no time of day (`Source.has_clock` is False) counts from its own first sample instead.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from linkfit._checks import one_of, positive
from linkfit.errors import InputError
from linkfit.ingest.even_times import EvenTimes, TimesOnDemand, stored
from linkfit.ingest.storage import first_wrong, freeze, joined, moved, selected
from linkfit.ingest.trace_table import ShownTrace

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

DIRECTIONS = ("up", "down")
TRANSPORTS = ("unknown", "tcp", "udp", "passive")
LAYERS = ("goodput", "ip")


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where samples came from: one file, or one run inside a file.

    `peer` names the far end where the file says it; `has_clock` tells whether times are real
    (UTC) or counted from the source's own start. `sha256` is of the whole file's bytes.
    """

    name: str
    format: str
    sha256: str = ""
    peer: str = ""
    has_clock: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """A change that reading made to what the file says: never silent, always counted."""

    source: str
    kind: str
    n_samples: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something a reader noticed that may mislead: a trap of the data, not a change to it."""

    source: str
    kind: str
    n_samples: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Table:
    """Shared behaviour of the three sample tables: length, selection, concatenation."""

    def __len__(self) -> int:
        return int(stored(self, fields(self)[0].name).size)

    def take(self, keep: "NDArray[Any]") -> Self:
        """The rows that `keep` (a mask or indices) selects."""
        return type(self)(**{f.name: selected(stored(self, f.name), keep) for f in fields(self)})

    def part(self, begin: int, end: int) -> Self:
        """The rows from `begin` up to, not including, `end`; nothing is copied."""
        columns = ((f.name, stored(self, f.name)) for f in fields(self))
        return type(self)(
            **{
                name: column.part(begin, end)
                if isinstance(column, EvenTimes)
                else column[begin:end]
                for name, column in columns
            }
        )

    @classmethod
    def concatenate(cls, tables: "Sequence[Self]", source_offsets: Sequence[int]) -> Self:
        """All rows of `tables`, `source` indices moved by each table's offset."""
        columns: dict[str, Any] = {}
        for f in fields(cls):
            parts = [stored(table, f.name) for table in tables]
            if f.name == "source":
                parts = [moved(p, o) for p, o in zip(parts, source_offsets, strict=True)]
            columns[f.name] = joined(parts)
        return cls(**columns)


def _empty() -> "NDArray[Any]":
    return np.empty(0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ThroughputSamples(_Table):
    """Bits carried in stretches of time, one row a sample; all arrays have shape (n,).

    Starts that lie on even grids are kept as such: `start_s` is built when it is first read, and
    `starts_between_s` builds a part of it only.
    `saturating` False means that the sender did not try for all it could get: the rate is then
    a LOWER BOUND on capacity (right-censored). `transport` and `layer` index TRANSPORTS and
    LAYERS; `n_streams` counts parallel flows (0: unknown); `source` indexes Trace.sources.
    """

    start_s: "NDArray[Any]" = field(default_factory=_empty)
    duration_s: "NDArray[Any]" = field(default_factory=_empty)
    bits: "NDArray[Any]" = field(default_factory=_empty)
    is_up: "NDArray[Any]" = field(default_factory=_empty)
    saturating: "NDArray[Any]" = field(default_factory=_empty)
    transport: "NDArray[Any]" = field(default_factory=_empty)
    layer: "NDArray[Any]" = field(default_factory=_empty)
    n_streams: "NDArray[Any]" = field(default_factory=_empty)
    source: "NDArray[Any]" = field(default_factory=_empty)

    def __post_init__(self) -> None:
        freeze(self, [f.name for f in fields(self)], _THROUGHPUT_TYPES)
        for name, low in (("duration_s", "> 0"), ("bits", ">= 0")):
            values = getattr(self, name)
            index = first_wrong(values, zero_is_wrong=low == "> 0")
            if index is not None:
                raise InputError(
                    f"{name}: expected finite numbers {low}, got {values[index]:g} at index {index}"
                )

    @property
    def rates_bps(self) -> "NDArray[np.float64]":
        """Mean rate of each sample, shape (n,). [bit/s]"""
        return self.bits / self.duration_s

    def starts_between_s(self, begin: int, end: int) -> "NDArray[np.float64]":
        """Starts of the rows from `begin` up to, not including, `end`. [s]"""
        column = stored(self, "start_s")
        if isinstance(column, EvenTimes):
            return column.between(begin, end)
        starts_s: NDArray[np.float64] = column[begin:end]
        return starts_s


# dataclasses knows slots, but no property with a default: the place is changed afterwards
type.__setattr__(ThroughputSamples, "start_s", TimesOnDemand(vars(ThroughputSamples)["start_s"]))

_THROUGHPUT_TYPES = {
    "start_s": np.float64, "duration_s": np.float64, "bits": np.float64, "is_up": np.bool_,
    "saturating": np.bool_, "transport": np.int8, "layer": np.int8, "n_streams": np.int32,
    "source": np.int32,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LatencySamples(_Table):
    """Round trips, one row a probe or a burst of probes; all arrays have shape (n,).

    `rtt_s` is the round trip (the mean of a burst's replies); inf where every probe was lost,
    so that percentiles count loss as unbounded delay (RFC 2681 section 2). `spread_s` is the
    standard deviation inside a burst (0 for one probe). `loaded` True: the link was busy.
    """

    time_s: "NDArray[Any]" = field(default_factory=_empty)
    rtt_s: "NDArray[Any]" = field(default_factory=_empty)
    spread_s: "NDArray[Any]" = field(default_factory=_empty)
    n_probes: "NDArray[Any]" = field(default_factory=_empty)
    n_lost: "NDArray[Any]" = field(default_factory=_empty)
    loaded: "NDArray[Any]" = field(default_factory=_empty)
    source: "NDArray[Any]" = field(default_factory=_empty)

    def __post_init__(self) -> None:
        freeze(self, [f.name for f in fields(self)], _LATENCY_TYPES)
        bad = ~(self.rtt_s > 0) | (np.isinf(self.rtt_s) != (self.n_lost >= self.n_probes))
        if bad.any():
            index = int(np.flatnonzero(bad)[0])
            raise InputError(
                "rtt_s: expected > 0, and inf exactly where all probes were lost, got "
                f"{self.rtt_s[index]:g} with {self.n_lost[index]} of {self.n_probes[index]} "
                f"lost at index {index}"
            )

    @property
    def loss_frac(self) -> float:
        """Lost over sent, all probes together (RFC 7680). [fraction]"""
        sent = int(self.n_probes.sum())
        if sent == 0:
            raise InputError("loss_frac: expected at least one probe, got 0")
        return float(self.n_lost.sum()) / sent


_LATENCY_TYPES = {
    "time_s": np.float64, "rtt_s": np.float64, "spread_s": np.float64, "n_probes": np.int32,
    "n_lost": np.int32, "loaded": np.bool_, "source": np.int32,
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TransferSamples(_Table):
    """Real transfers: payload size and how long it took; all arrays have shape (n,).

    `rtt_s` is NaN where the round trip was not measured.
    """

    start_s: "NDArray[Any]" = field(default_factory=_empty)
    size_bytes: "NDArray[Any]" = field(default_factory=_empty)
    duration_s: "NDArray[Any]" = field(default_factory=_empty)
    is_up: "NDArray[Any]" = field(default_factory=_empty)
    rtt_s: "NDArray[Any]" = field(default_factory=_empty)
    source: "NDArray[Any]" = field(default_factory=_empty)

    def __post_init__(self) -> None:
        freeze(self, [f.name for f in fields(self)], _TRANSFER_TYPES)
        for name in ("size_bytes", "duration_s"):
            values = getattr(self, name)
            index = first_wrong(values, zero_is_wrong=True)
            if index is not None:
                raise InputError(
                    f"{name}: expected finite numbers > 0, got {values[index]:g} at index {index}"
                )

    @property
    def rates_bps(self) -> "NDArray[np.float64]":
        """Payload over duration, shape (n,). [bit/s]"""
        return self.size_bytes * 8.0 / self.duration_s


_TRANSFER_TYPES = {
    "start_s": np.float64, "size_bytes": np.float64, "duration_s": np.float64,
    "is_up": np.bool_, "rtt_s": np.float64, "source": np.int32,
}  # fmt: skip


def _epoch_s(start: datetime | None) -> float:
    if start is None:
        return 0.0
    if start.tzinfo is None:
        raise InputError(
            f"start: expected a time with its zone, got {start.isoformat()}; "
            "add tzinfo, for example datetime(..., tzinfo=timezone.utc)"
        )
    return start.timestamp()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trace(ShownTrace):
    """Everything that was measured, with its sources, repairs and findings."""

    sources: tuple[Source, ...] = ()
    throughput: ThroughputSamples = field(default_factory=ThroughputSamples)
    latency: LatencySamples = field(default_factory=LatencySamples)
    transfers: TransferSamples = field(default_factory=TransferSamples)
    repairs: tuple[Repair, ...] = ()
    findings: tuple[Finding, ...] = ()

    @classmethod
    def from_rates(
        cls,
        rates_bps: "ArrayLike",
        step_s: float = 1.0,
        direction: str = "up",
        start: datetime | None = None,
        *,
        saturating: bool = True,
        layer: str = "goodput",
        name: str = "rates given in Python",
    ) -> Self:
        """A regular series of rates, one sample every `step_s`.

        Parameters
        ----------
        rates_bps : array, shape (n,)
            Rates, finite and >= 0. [bit/s]
        step_s : float
            Length of each sample, > 0. [s]
        direction : {"up", "down"}
            Of the link: up is from the server towards the internet.
        start : datetime with zone, optional
            Start of the first sample; without it the series has no time of day.
        saturating : bool
            False: the rates are what was asked for, lower bounds on capacity.
        layer : {"goodput", "ip"}
            What the bits counted: payload (as speed tests report) or whole IP packets.
        """
        step_s = positive("step_s", step_s)
        one_of("direction", direction, DIRECTIONS)
        one_of("layer", layer, LAYERS)
        rates = np.asarray(rates_bps, dtype=np.float64)
        n = rates.size
        samples = ThroughputSamples(
            start_s=_epoch_s(start) + step_s * np.arange(n),
            duration_s=np.full(n, step_s),
            bits=rates * step_s,
            is_up=np.full(n, direction == "up"),
            saturating=np.full(n, saturating),
            transport=np.zeros(n),
            layer=np.full(n, LAYERS.index(layer)),
            n_streams=np.zeros(n),
            source=np.zeros(n),
        )
        source = Source(name=name, format="rates", has_clock=start is not None)
        return cls(sources=(source,), throughput=samples)

    @classmethod
    def from_transfers(
        cls,
        sizes_bytes: "ArrayLike",
        durations_s: "ArrayLike",
        direction: str = "up",
        starts: Sequence[datetime] | None = None,
        rtts_s: "ArrayLike | None" = None,
        *,
        name: str = "transfers given in Python",
    ) -> Self:
        """Real transfers: payload sizes and how long each took.

        Parameters
        ----------
        sizes_bytes, durations_s : array, shape (n,)
            Payload [bytes] and time from the first packet to the last answer [s], > 0.
        direction : {"up", "down"}
            Of the link.
        starts : sequence of datetime with zone, optional
            When each began; without it they follow each other and have no time of day.
        rtts_s : array, shape (n,), optional
            Round trip measured beside each transfer. [s]
        """
        one_of("direction", direction, DIRECTIONS)
        sizes = np.asarray(sizes_bytes, dtype=np.float64)
        durations = np.asarray(durations_s, dtype=np.float64)
        n = sizes.size
        if starts is None:
            start_s = np.concatenate(([0.0], np.cumsum(durations)[:-1])) if n else np.empty(0)
        else:
            start_s = np.array([_epoch_s(start) for start in starts])
        rtt_s = np.full(n, np.nan) if rtts_s is None else np.asarray(rtts_s, dtype=np.float64)
        samples = TransferSamples(
            start_s=start_s,
            size_bytes=sizes,
            duration_s=durations,
            is_up=np.full(n, direction == "up"),
            rtt_s=rtt_s,
            source=np.zeros(n),
        )
        source = Source(name=name, format="transfers", has_clock=starts is not None)
        return cls(sources=(source,), transfers=samples)

    @classmethod
    def from_quick_numbers(
        cls,
        *,
        down_bps: float | None = None,
        up_bps: float | None = None,
        rtt_s: float | None = None,
    ) -> Self:
        """One speed test as somebody remembers it: a single sample a direction, no time of day.

        The samples last 10 s (the usual length of a speed test; common practice), count
        goodput and are taken as saturating.
        """
        rates = [(d, r) for d, r in (("down", down_bps), ("up", up_bps)) if r is not None]
        n = len(rates)
        throughput = ThroughputSamples(
            start_s=np.zeros(n),
            duration_s=np.full(n, 10.0),
            bits=np.array([positive(f"{d}_bps", r) * 10.0 for d, r in rates]),
            is_up=np.array([d == "up" for d, _ in rates]),
            saturating=np.ones(n),
            transport=np.full(n, TRANSPORTS.index("tcp")),
            layer=np.zeros(n),
            n_streams=np.zeros(n),
            source=np.zeros(n),
        )
        latency = LatencySamples()
        if rtt_s is not None:
            latency = LatencySamples(
                time_s=np.zeros(1), rtt_s=np.array([positive("rtt_s", rtt_s)]),
                spread_s=np.zeros(1), n_probes=np.ones(1), n_lost=np.zeros(1),
                loaded=np.zeros(1), source=np.zeros(1),
            )  # fmt: skip
        source = Source(name="numbers given by hand", format="quick numbers", has_clock=False)
        return cls(sources=(source,), throughput=throughput, latency=latency)

    @classmethod
    def merge(cls, traces: "Sequence[Trace]") -> "Trace":
        """All samples of `traces` in one Trace; sources keep their order."""
        if len(traces) == 1:
            return traces[0]
        offsets = np.cumsum([0, *(len(trace.sources) for trace in traces)])[:-1].tolist()
        return cls(
            sources=tuple(source for trace in traces for source in trace.sources),
            throughput=ThroughputSamples.concatenate([t.throughput for t in traces], offsets),
            latency=LatencySamples.concatenate([t.latency for t in traces], offsets),
            transfers=TransferSamples.concatenate([t.transfers for t in traces], offsets),
            repairs=tuple(repair for trace in traces for repair in trace.repairs),
            findings=tuple(finding for trace in traces for finding in trace.findings),
        )
