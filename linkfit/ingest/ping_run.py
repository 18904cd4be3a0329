"""One ping run while it is read: its answers and losses by sequence number."""

from array import array
from dataclasses import dataclass, field

from linkfit.ingest.ping_lines import Line

_SEQUENCES = 65536  # ICMP sequence numbers have 16 bits (RFC 792)
_RESTART_AFTER = 5


@dataclass(slots=True, kw_only=True)
class PingRun:
    """The probes of one run under construction, numbered on beyond 65535.

    Answers are kept in plain arrays in the order in which they came (24 bytes each), so that
    weeks of probes fit in memory: `sequences`, `times_s` (NaN: no stamp), `rtts_s` (negative
    where a clock step made it so). `answered` came without a time; `unanswered` maps what was
    reported as lost to the time of that report.
    """

    start_s: float | None = None
    header: Line | None = None
    counts: Line | None = None
    round_trips: Line | None = None
    is_windows: bool = False
    sequences: "array[int]" = field(default_factory=lambda: array("q"))
    times_s: "array[float]" = field(default_factory=lambda: array("d"))
    rtts_s: "array[float]" = field(default_factory=lambda: array("d"))
    answered: set[int] = field(default_factory=set)
    unanswered: dict[int, float | None] = field(default_factory=dict)
    n_below: int = 0
    is_stamped: bool = False
    _last: int | None = None
    _early: set[int] = field(default_factory=set)

    @property
    def takes_losses(self) -> bool:
        """Whether a line that says nothing else is a lost probe (Windows, before its summary)."""
        return self.is_windows and self.counts is None

    @property
    def has_probes(self) -> bool:
        """Whether single probes were printed."""
        return bool(self.sequences or self.unanswered or self.answered)

    @property
    def peer(self) -> str:
        """The host as the header names it."""
        return self.header.peer if self.header else ""

    @property
    def has_clock(self) -> bool:
        """Whether the time of day is known."""
        return self.is_stamped or self.start_s is not None

    def ends_before(self, line: Line) -> bool:
        """Whether `line` belongs to a new run."""
        if line.kind == "header":
            return True
        if line.kind == "counts" or self.counts is not None:
            return self.counts is not None and line.kind != "round trips"
        # logs without headers: the count starts anew at 0 or 1, long after it was answered
        return (
            line.sequence in self._early
            and not line.is_marked_duplicate
            and (self._last or 0) - (line.sequence or 0) >= _RESTART_AFTER
        )

    def add(self, line: Line) -> None:
        """Take in one line."""
        self.is_stamped |= line.time_s is not None
        if line.kind == "header":
            self.header, self.is_windows = line, line.is_windows
        elif line.kind == "counts":
            self.counts = line
        elif line.kind == "round trips":
            self.round_trips = line
        else:
            self.is_windows |= line.is_windows and self.header is None
            self._add_probe(line)

    def _add_probe(self, line: Line) -> None:
        sequence = self._unwrapped(line.sequence)
        if line.kind == "reply":
            self.sequences.append(sequence)
            self.times_s.append(float("nan") if line.time_s is None else line.time_s)
            self.rtts_s.append(line.rtt_s)
            self.n_below += line.is_below
            if sequence <= 1:
                self._early.add(sequence)
        elif line.kind == "answered":
            self.answered.add(sequence)
        else:
            self.unanswered.setdefault(sequence, line.time_s)
        self._last = sequence if self._last is None else max(self._last, sequence)

    def _unwrapped(self, sequence: int | None) -> int:
        """Numbers that go on beyond 65535; Windows prints none, so its lines are counted."""
        if sequence is None:
            return 0 if self._last is None else self._last + 1
        if self._last is None or sequence >= _SEQUENCES:
            return sequence
        return sequence + round((self._last - sequence) / _SEQUENCES) * _SEQUENCES
