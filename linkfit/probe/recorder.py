"""The recorder: looks at the counters each second, writes every few, and outlives what happens.

Everything that can go wrong in a second is turned into a gap and an event; nothing is guessed.
"""

import sqlite3
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from linkfit.errors import InputError
from linkfit.probe.interface import Counters, read_counters
from linkfit.probe.recorder_counters import MOST_BYTES_PER_S, Look, Passed, what_passed
from linkfit.probe.recorder_tests import Tester
from linkfit.probe.store import Batch, Event, Store, TestRow

_MOST_PENDING = 3600  # seconds held while the disk takes nothing
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_STATE, _RUNNING = "counters", "running test"
_TEST_LASTS_S = 60.0  # at most, with its handshakes
_KEEP_BOUNDED_EACH = 100  # commits
_TEXTS = {
    "counter wrapped": "a counter of 32 bits began again; the seconds are samples",
    "recorded before": "the clock was set back into seconds that are held: those stay",
    "not looked at": "the recorder did not run (suspend, load): gaps, their bytes count as use",
    "interface reset": "the interface began to count anew: gaps, what it says is use",
    "clock set back": "gaps; bytes count as use",
    "clock set forward": "gaps; bytes count as use",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Clocks:
    """Where the recorder takes time from: the wall clock, and one that suspend does not stop."""

    wall_s: Callable[[], float]
    running_s: Callable[[], float]


def boot_id(path: Path = _BOOT_ID) -> str:
    """What tells one start of this machine from the next; "" where it is not told."""
    try:
        return path.read_text(encoding="ascii").strip()
    except OSError:
        return ""


def look_at(interface: str, clocks: Clocks) -> Look:
    """The counters now; None for them if the interface is gone or its driver talks nonsense."""
    try:
        counters: Counters | None = read_counters(interface)
    except (InputError, OSError, ValueError):
        counters = None
    return Look(wall_s=clocks.wall_s(), running_s=clocks.running_s(), counters=counters)


@dataclass(slots=True)
class Recorder:
    """Collects what is seen and commits it.

    Parameters
    ----------
    store : Store
        Where it goes.
    interface : str
        Whose counters are watched.
    look : callable
        Gives the counters and both clocks now.
    boot : str
        Of this start of the machine.
    flush_s : int
        Seconds from one commit to the next. [s]
    tester : Tester or None
        Of active tests.
    say : callable
        Told what a person should know.
    """

    store: Store
    interface: str
    look: Callable[[], Look]
    boot: str = ""
    flush_s: int = 10
    tester: Tester | None = None
    say: Callable[[str], None] = lambda _text: None
    _pending: Batch = field(default_factory=Batch)
    _causes: "Counter[str]" = field(default_factory=Counter)
    _last: Look | None = None
    _since_commit: int = 0
    _n_commits: int = 0
    _is_full: bool = False
    _guard: threading.Lock = field(default_factory=threading.Lock)
    _figures: dict[str, float] = field(default_factory=dict)

    def begin(self) -> None:
        """Take up where the last recorder ended: bytes that passed meanwhile are use.

        Counters of the same start of the machine go on; after another start they began at 0.
        """
        now = self.look()
        self._last = now
        self._pending.events.append(Event(time_s=now.wall_s, kind="started", text=self.interface))
        before = (self.store.meta(_STATE) or "").split()
        if len(before) == 4 and before[0] == self.interface and now.counters is not None:
            received, sent = int(before[2]), int(before[3])
            new = now.counters
            if (
                before[1] == (self.boot or "-")
                and new.received_bytes >= received
                and new.sent_bytes >= sent
            ):
                down_bytes, up_bytes = new.received_bytes - received, new.sent_bytes - sent
            else:
                down_bytes, up_bytes = new.received_bytes, new.sent_bytes
            if max(down_bytes, up_bytes) <= MOST_BYTES_PER_S * now.running_s:
                self._pending.add_use(now.wall_s, down_bytes, up_bytes, 0)
                self._close_test(down_bytes + up_bytes, now.wall_s)
        self.commit()

    def _close_test(self, passed_bytes: int, now_s: float) -> None:
        """Count a test that the last recorder did not live to end: it may have cost all of it."""
        reserved = (self.store.meta(_RUNNING) or "").split()
        if len(reserved) != 3:
            return
        start_s, is_up, most_bytes = float(reserved[0]), reserved[1] == "up", int(reserved[2])
        self.keep_test(
            TestRow(
                start_s=start_s, took_s=max(min(now_s - start_s, _TEST_LASTS_S), 0.0), is_up=is_up,
                ended="killed", spent_bytes=min(most_bytes, passed_bytes), report="",
                error="the recorder was ended while it ran",
            )
        )  # fmt: skip

    def tick(self) -> None:
        """One look: keep what passed since the last one; commit and start a test if due."""
        now = self.look()
        assert self._last is not None, "begin comes first"
        passed = what_passed(self._last, now)
        with self._guard:
            self._keep(passed, now)
        self._last = now
        self._since_commit += 1
        if self._since_commit >= self.flush_s:
            self.commit()
        if self.tester is not None:
            self._test_if_due(self.tester, now.wall_s)

    def _test_if_due(self, tester: Tester, now_s: float) -> None:
        """Start a test whose budget is set aside on the disk before its first packet."""
        order = tester.due(self.store, now_s)
        if order is None:
            return
        way = "up" if order.is_up else "down"
        with self._guard:
            self._pending.meta[_RUNNING] = f"{now_s} {way} {int(order.most_bytes)}"
        if self.commit():
            tester.start(order)
            self.say(f"a test runs, {way}")

    def _keep(self, passed: Passed, now: Look) -> None:
        batch = self._pending
        if passed.second is not None:
            batch.seconds.append((passed.second, passed.down_bytes, passed.up_bytes))
            if len(batch.seconds) > _MOST_PENDING:
                del batch.seconds[0]
                self._causes["could not be written"] += 1
        if passed.why:
            self._causes[passed.why] += 1
        batch.add_use(
            now.wall_s, passed.down_bytes, passed.up_bytes, int(passed.second is not None)
        )
        self._count("received_bytes", passed.down_bytes)
        self._count("sent_bytes", passed.up_bytes)

    def keep_round_trip(self, at_s: float, rtt_s: float) -> None:
        """Keep one probe; may be called from another thread."""
        busy = self.tester is not None and self.tester.is_running
        with self._guard:
            self._pending.round_trips.append((at_s, rtt_s, busy))
            self._count("round_trips", 1)
            if rtt_s < float("inf"):
                self._figures["round_trip_seconds"] = rtt_s
            self._count("round_trips_lost", int(rtt_s == float("inf")))

    def keep_test(self, row: TestRow) -> None:
        """Keep one test; may be called from another thread."""
        with self._guard:
            self._pending.tests.append(row)
            self._pending.meta[_RUNNING] = ""
            self._count("test_cost_bytes", row.spent_bytes)

    def commit(self) -> bool:
        """Write what is pending; False if the disk did not take it, then it stays pending."""
        with self._guard:
            batch, self._pending = self._pending, Batch()
        causes, self._causes = self._causes, Counter()
        assert self._last is not None, "begin comes first"
        full = _with_events(batch, causes, self._last.wall_s)
        if self._last.counters is not None:
            counters = self._last.counters
            full.meta[_STATE] = (
                f"{self.interface} {self.boot or '-'} {counters.received_bytes} "
                f"{counters.sent_bytes}"
            )
        try:
            n_held = self.store.commit(full)
        except sqlite3.OperationalError as error:
            self._put_back(batch, causes, str(error))
            return False
        if n_held:
            self._causes["recorded before"] += n_held
        self._committed(batch)
        self._housekeeping()
        return True

    def _housekeeping(self) -> None:
        """Pack hours that are over, and keep the file within its size."""
        assert self._last is not None, "begin comes first"
        self._n_commits += 1
        try:
            if (
                self.store.pack_hours(self._last.wall_s)
                or self._n_commits % _KEEP_BOUNDED_EACH == 1
            ):
                self.store.keep_bounded(self._last.wall_s)
        except sqlite3.OperationalError as error:  # what is committed is committed: later again
            self.say(f"the store could not be tidied: {error}")

    def _put_back(self, batch: Batch, causes: "Counter[str]", why: str) -> None:
        """A commit that failed: all of it is pending again, and one message says why."""
        with self._guard:
            new, self._pending = self._pending, batch
            self._pending.seconds += new.seconds
            self._pending.round_trips += new.round_trips
            self._pending.tests += new.tests
            self._pending.events += new.events
            self._pending.meta.update(new.meta)
            for hour_s, (down_bytes, up_bytes, n_seconds) in new.use.items():
                self._pending.add_use(hour_s, down_bytes, up_bytes, n_seconds)
        self._causes += causes
        self._since_commit = 0
        if not self._is_full:
            self.say(f"{self.store.path}: cannot be written ({why}); up to 1 h is kept in memory")
        self._is_full = True

    def _committed(self, batch: Batch) -> None:
        self._since_commit = 0
        if self._is_full:
            self.say(f"{self.store.path}: is written again")
        self._is_full = False
        self._count("observed_seconds", len(batch.seconds))
        assert self._last is not None, "begin comes first"
        self._figures["last_commit_timestamp_seconds"] = self._last.wall_s

    def _count(self, name: str, more: int) -> None:
        self._figures[name] = self._figures.get(name, 0.0) + more

    def figures(self) -> Mapping[str, float]:
        """What a collector of metrics is told; may be called from another thread."""
        with self._guard:
            return {**self._figures, "pending_seconds": float(len(self._pending.seconds))}

    def end(self) -> None:
        """Commit what is pending and say that the recorder stopped by itself."""
        assert self._last is not None, "begin comes first"
        with self._guard:
            self._pending.events.append(Event(time_s=self._last.wall_s, kind="stopped"))
        self.commit()


def _with_events(batch: Batch, causes: "Counter[str]", time_s: float) -> Batch:
    """`batch` with one event for each cause of gaps since the last commit."""
    events = [
        Event(time_s=time_s, kind=kind, n=n, text=_TEXTS.get(kind, "these seconds are gaps"))
        for kind, n in sorted(causes.items())
    ]
    return replace(batch, events=[*batch.events, *events], meta=dict(batch.meta))
