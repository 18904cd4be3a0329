"""The recorder's store, written: what is committed stays, whatever happens next.

SQLite in WAL mode with synchronous=FULL: a commit is on the disk when it returns, so neither a
killed process nor a loss of power takes it back, and readers never wait.
"""

import math
import sqlite3
import zlib
from dataclasses import dataclass, field
from pathlib import Path

from linkfit.errors import ArtifactError
from linkfit.ingest.store_format import (
    APPLICATION_ID,
    HOUR_S,
    STEPS_S,
    VERSION,
    create,
    migrate,
    version_of,
)
from linkfit.probe.samples_blob import HourOfSamples
from linkfit.probe.store_lock import StoreLock
from linkfit.probe.store_thinning import thin

_WAL_BYTES = 4 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened to the record: a start, a gap's cause, a thinning."""

    time_s: float
    kind: str
    n: int = 1
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestRow:
    """An active test as it is kept; `report` is iperf3's own text."""

    __test__ = False

    start_s: float
    took_s: float
    is_up: bool
    ended: str
    spent_bytes: int
    error: str
    report: str


@dataclass(slots=True, kw_only=True)
class Batch:
    """What one commit writes, all of it or nothing.

    `seconds` are (whole second since 1970, bytes down, bytes up); `use` adds (bytes down, bytes
    up, seconds observed) to an hour, keyed by its first second; `round_trips` are (time, round
    trip or inf, busy); `meta` sets values.
    """

    seconds: list[tuple[int, int, int]] = field(default_factory=list)
    use: dict[int, tuple[int, int, int]] = field(default_factory=dict)
    round_trips: list[tuple[float, float, bool]] = field(default_factory=list)
    tests: list[TestRow] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    meta: dict[str, str] = field(default_factory=dict)

    def add_use(self, time_s: float, down_bytes: int, up_bytes: int, n_seconds: int) -> None:
        """Count bytes in the hour that holds `time_s`."""
        hour_s = int(time_s // HOUR_S) * HOUR_S
        before = self.use.get(hour_s, (0, 0, 0))
        self.use[hour_s] = (before[0] + down_bytes, before[1] + up_bytes, before[2] + n_seconds)


class Store:
    """A store open for writing, held by this process alone.

    Raises
    ------
    InputError
        If another recorder holds it.
    ArtifactError
        If the file is no store, damaged, or of a version that is not known here.
    """

    def __init__(self, path: Path, *, most_bytes: float = 200e6) -> None:
        self.path = path
        self._most_bytes = most_bytes
        self._lock = StoreLock(path)
        try:
            self.database = sqlite3.connect(path, isolation_level=None, timeout=10.0)
            self.n_migrated = self._prepare()
        except sqlite3.DatabaseError as error:
            self._lock.release()
            raise ArtifactError(
                f"{path}: expected a store that linkfit record wrote, got {str(error)!r}; move the "
                "file away and start a new one"
            ) from error
        except ArtifactError:
            self._lock.release()
            raise

    def _prepare(self) -> int:
        database = self.database
        database.execute("PRAGMA synchronous = FULL")
        if not database.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
            create(database)  # before WAL: so the file itself says at once what it is
        if database.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            raise ArtifactError(f"{self.path}: expected a linkfit store, got another database")
        if version_of(database) > VERSION:
            raise ArtifactError(
                f"{self.path}: expected a store of version {VERSION} or older, got "
                f"{version_of(database)}; use the newer linkfit that wrote it"
            )
        database.execute("PRAGMA journal_mode = WAL")
        database.execute(f"PRAGMA journal_size_limit = {_WAL_BYTES}")
        return migrate(database)

    def close(self) -> None:
        """Close the file and let others record."""
        self.database.close()
        self._lock.release()

    def meta(self, key: str) -> str | None:
        """A value that a commit has set."""
        row = self.database.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
        return None if row is None else str(row[0])

    def commit(self, batch: Batch) -> int:
        """Write all of `batch` or nothing; seconds left out because they are held already.

        Raises
        ------
        sqlite3.Error
            If it cannot be written (disk full, damaged): then nothing of it was.
        """
        database = self.database
        database.execute("BEGIN IMMEDIATE")
        try:
            n_held = self._write(batch)
            database.execute("COMMIT")
        except BaseException:
            if database.in_transaction:
                database.execute("ROLLBACK")
            raise
        return n_held

    def _write(self, batch: Batch) -> int:
        write = self.database.executemany
        before = self.database.total_changes
        write("INSERT OR IGNORE INTO recent VALUES (?, ?, ?)", batch.seconds)
        n_held = len(batch.seconds) - (self.database.total_changes - before)
        write(
            "INSERT INTO use VALUES (?, ?, ?, ?) ON CONFLICT (start_s) DO UPDATE SET down_bytes = "
            "down_bytes + excluded.down_bytes, up_bytes = up_bytes + excluded.up_bytes, "
            "n_seconds = n_seconds + excluded.n_seconds",
            [(hour_s, *added) for hour_s, added in batch.use.items()],
        )
        write(
            "INSERT INTO round_trips (time_s, rtt_s, loaded, n_lost) VALUES (?, ?, ?, ?)",
            [
                (at_s, None if math.isinf(rtt_s) else rtt_s, loaded, math.isinf(rtt_s))
                for at_s, rtt_s, loaded in batch.round_trips
            ],
        )
        write(
            "INSERT INTO tests VALUES (?, ?, ?, ?, ?, ?, ?)",
            [
                (t.start_s, t.took_s, t.is_up, t.ended, t.spent_bytes, t.error,
                 zlib.compress(t.report.encode()))
                for t in batch.tests
            ],
        )  # fmt: skip
        write("INSERT INTO events VALUES (?, ?, ?, ?)",
              [(e.time_s, e.kind, e.n, e.text) for e in batch.events])  # fmt: skip
        write("INSERT OR REPLACE INTO meta VALUES (?, ?)", list(batch.meta.items()))
        return n_held

    def pack_hours(self, before_s: float) -> int:
        """Turn the seconds of every hour that ended before `before_s` into its blob; how many."""
        last_s = int(before_s // HOUR_S) * HOUR_S
        hours = self.database.execute(
            "SELECT DISTINCT start_s / ? FROM recent WHERE start_s < ?", (HOUR_S, last_s)
        ).fetchall()
        for (number,) in hours:
            self._pack_hour(number * HOUR_S)
        return len(hours)

    def _pack_hour(self, hour_s: int) -> None:
        database = self.database
        database.execute("BEGIN IMMEDIATE")
        try:
            rows = database.execute(
                "SELECT start_s - ?, down_bytes, up_bytes FROM recent WHERE start_s >= ? "
                "AND start_s < ?", (hour_s, hour_s, hour_s + HOUR_S),
            ).fetchall()  # fmt: skip
            held = database.execute(
                "SELECT step_s, n_seconds, codes FROM hours WHERE start_s = ?", (hour_s,)
            ).fetchone()
            step_s = STEPS_S[0] if held is None else held[0]
            hour = (
                HourOfSamples.empty() if held is None else HourOfSamples.unpacked(held[2], step_s)
            ).filled(rows)
            n_seconds = hour.n_cells if step_s == 1 else held[1]
            database.execute(
                "INSERT OR REPLACE INTO hours VALUES (?, ?, ?, ?)",
                (hour_s, step_s, n_seconds, hour.packed()),
            )
            database.execute(
                "DELETE FROM recent WHERE start_s >= ? AND start_s < ?", (hour_s, hour_s + HOUR_S)
            )
            database.execute("COMMIT")
        except BaseException:
            if database.in_transaction:
                database.execute("ROLLBACK")
            raise

    def keep_bounded(self, now_s: float) -> int:
        """Average the oldest detail while the file is larger than its bound; hours averaged."""
        return thin(self.database, self._most_bytes, now_s)
