"""A recorder's store as a Trace: tests, round trips and what the interface carried by itself."""

import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linkfit.errors import TraceError
from linkfit.ingest.even_times import EvenTimes, GrowingTimes
from linkfit.ingest.iperf3 import read_iperf3
from linkfit.ingest.store_format import (
    CODE_STEP,
    GAP,
    HOUR_S,
    STEPS_S,
    VERSION,
    migrate,
    rate_of,
    version_of,
)
from linkfit.ingest.trace import (
    TRANSPORTS,
    Finding,
    LatencySamples,
    Repair,
    Source,
    ThroughputSamples,
    Trace,
)

_HOURS_A_CHUNK = 24
_WIRE_LAYER = 1  # LAYERS: interface counters hold whole packets


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StoredHours:
    """Hours of one step: `start_s` has shape (h,), `codes` (h, 2, 3600 / step), down before up."""

    step_s: int
    start_s: NDArray[np.int64]
    codes: NDArray[np.uint16]

    def rates_bytes_per_s(self, *, is_up: bool) -> NDArray[np.float32]:
        """Mean rates of one direction, shape (h, 3600 / step); NaN where nothing was observed."""
        return _RATES.astype(np.float32)[self.codes[:, int(is_up)]]


def _rates() -> NDArray[np.float64]:
    """What each code stands for. [bytes/s]"""
    codes = np.arange(GAP + 1)
    rates = rate_of(1) * np.exp(CODE_STEP * (codes - 1))
    rates[0], rates[GAP] = 0.0, np.nan
    return rates


_RATES = _rates()


@contextmanager
def open_store(path: str | Path, *, name: str = "") -> Iterator[sqlite3.Connection]:
    """The database of a store, to read only; one of an older version is brought up in memory.

    Raises
    ------
    TraceError
        If it is damaged, cannot be opened or comes from a newer linkfit.
    """
    where = name or str(path)
    try:
        database = sqlite3.connect(f"{Path(path).resolve().as_uri()}?mode=ro", uri=True, timeout=10)
        version = version_of(database)
        if version > VERSION:
            raise TraceError(
                f"{where}: expected a store of version {VERSION} or older, got {version}; use the "
                "newer linkfit that wrote it"
            )
        if version < VERSION:
            copy = sqlite3.connect(":memory:")
            database.backup(copy)
            database.close()
            database = copy
            migrate(database)
    except sqlite3.Error as error:
        raise TraceError(f"{where}: expected a store that can be read, got {error}") from error
    try:
        yield database
    except sqlite3.DatabaseError as error:
        raise TraceError(
            f"{where}: expected an undamaged store, got {str(error)!r}; take its last copy"
        ) from error
    finally:
        database.close()


def read_store(path: str | Path, name: str) -> Trace:
    """Everything a recorder kept.

    Parameters
    ----------
    path : str or Path
        The store; a recorder may be writing to it.
    name : str
        What messages call it.

    Returns
    -------
    trace : Trace
        Tests as saturating samples; interface counts as lower bounds (``passive``), without the
        stretches in which a test ran; round trips.

    Raises
    ------
    TraceError
        If it cannot be read or holds nothing yet.
    """
    with open_store(path, name=name) as database:
        tests = _tests(database, name)
        parts = [_passive(database, name), _round_trips(database, name), *tests]
        findings = _findings(database, name)
        averaged = _averaged(database, name)
    merged = Trace.merge([part for part in parts if part.sources])
    if not merged.sources:
        raise TraceError(f"{name}: expected something recorded, got an empty store; let it run")
    return replace(
        merged,
        repairs=(*merged.repairs, *averaged),
        findings=(*merged.findings, *findings),
    )


def stored_hours(database: sqlite3.Connection) -> tuple[StoredHours, ...]:
    """All hours, those of one step together, in order of time; running ones included."""
    packed = [_packed_hours(database, step_s) for step_s in STEPS_S]
    recent = _recent_hours(database)
    return tuple(hours for hours in (*packed, recent) if hours.start_s.size)


def _packed_hours(database: sqlite3.Connection, step_s: int) -> StoredHours:
    rows = database.execute(
        "SELECT start_s, codes FROM hours WHERE step_s = ? ORDER BY start_s", (step_s,)
    ).fetchall()
    codes = np.frombuffer(b"".join(blob for _, blob in rows), dtype="<u2")
    return StoredHours(
        step_s=step_s,
        start_s=np.array([start_s for start_s, _ in rows], dtype=np.int64),
        codes=codes.reshape(len(rows), 2, HOUR_S // step_s),
    )


def _recent_hours(database: sqlite3.Connection) -> StoredHours:
    """Seconds that are not packed yet, as hours."""
    rows = np.array(
        database.execute("SELECT start_s, down_bytes, up_bytes FROM recent").fetchall(),
        dtype=np.int64,
    ).reshape(-1, 3)
    starts_s, hour = np.unique(rows[:, 0] // HOUR_S * HOUR_S, return_inverse=True)
    codes = np.full((starts_s.size, 2, HOUR_S), GAP, dtype=np.uint16)
    for way in (0, 1):
        codes[hour, way, rows[:, 0] % HOUR_S] = _codes(rows[:, 1 + way])
    return StoredHours(step_s=1, start_s=starts_s, codes=codes)


def _codes(rates_bytes_per_s: NDArray[np.int64]) -> NDArray[np.uint16]:
    least = rate_of(1)
    place = np.rint(np.log(np.maximum(rates_bytes_per_s, least) / least) / CODE_STEP)
    codes = np.minimum(place, GAP - 2).astype(np.uint16) + np.uint16(1)
    return np.where(rates_bytes_per_s > 0, codes, np.uint16(0))


def _passive(database: sqlite3.Connection, name: str) -> Trace:
    """What the interface carried: every observed cell, both directions."""
    windows = database.execute("SELECT start_s, start_s + took_s FROM tests").fetchall()
    tables = [
        _cells(hours, is_up=is_up, windows=windows)
        for is_up in (False, True)
        for hours in stored_hours(database)
    ]
    throughput = ThroughputSamples.concatenate(tables, [0] * len(tables))
    if not len(throughput):
        return Trace()
    source = Source(name=name, format="linkfit store, interface counters")
    return Trace(sources=(source,), throughput=throughput)


def _cells(
    hours: StoredHours, *, is_up: bool, windows: list[tuple[float, float]]
) -> ThroughputSamples:
    codes = hours.codes[:, int(is_up)]
    keep = codes != GAP
    _leave_out(keep, hours, windows)
    bits = (_RATES * 8.0 * hours.step_s)[codes[keep]]
    times = _starts(hours, keep)
    n = bits.size

    def same(value: float, dtype: type) -> NDArray[np.generic]:
        return np.broadcast_to(np.array([value], dtype=dtype), (n,))

    return ThroughputSamples(
        start_s=times,  # type: ignore[arg-type]
        duration_s=same(hours.step_s, np.float64), bits=bits, is_up=same(is_up, np.bool_),
        saturating=same(False, np.bool_), transport=same(TRANSPORTS.index("passive"), np.int8),
        layer=same(_WIRE_LAYER, np.int8), n_streams=same(0, np.int32), source=same(0, np.int32),
    )  # fmt: skip


def _starts(hours: StoredHours, keep: NDArray[np.bool_]) -> "EvenTimes | NDArray[np.float64]":
    """Starts of the kept cells: even stretches as long as gaps are few."""
    growing = GrowingTimes()
    grid_s = np.arange(0, HOUR_S, hours.step_s)
    for begin in range(0, hours.start_s.size, _HOURS_A_CHUNK):
        rows = slice(begin, begin + _HOURS_A_CHUNK)
        times_s = (hours.start_s[rows, None] + grid_s)[keep[rows]]
        growing.append(times_s.astype(np.float64), times_s.size)
    return growing.finish()


def _leave_out(
    keep: NDArray[np.bool_], hours: StoredHours, windows: list[tuple[float, float]]
) -> None:
    """Clear the cells in which a test ran: its own report tells of them."""
    for begin_s, end_s in windows:
        first = int(begin_s // hours.step_s) * hours.step_s
        for cell_s in range(first, int(end_s) + 1, hours.step_s):
            hour_s = cell_s // HOUR_S * HOUR_S
            row = int(np.searchsorted(hours.start_s, hour_s))
            if row < hours.start_s.size and hours.start_s[row] == hour_s:
                keep[row, (cell_s - hour_s) // hours.step_s] = False


def _round_trips(database: sqlite3.Connection, name: str) -> Trace:
    rows = database.execute(
        "SELECT time_s, rtt_s, spread_s, n_probes, n_lost, loaded FROM round_trips ORDER BY time_s"
    ).fetchall()
    if not rows:
        return Trace()
    time_s, rtt_s, spread_s, n_probes, n_lost, loaded = zip(*rows, strict=True)
    latency = LatencySamples(
        time_s=np.array(time_s),
        rtt_s=np.array([np.inf if value is None else value for value in rtt_s], dtype=np.float64),
        spread_s=np.array(spread_s), n_probes=np.array(n_probes), n_lost=np.array(n_lost),
        loaded=np.array(loaded), source=np.zeros(len(rows)),
    )  # fmt: skip
    source = Source(name=name, format="linkfit store, round trips")
    return Trace(sources=(source,), latency=latency)


def _tests(database: sqlite3.Connection, name: str) -> list[Trace]:
    """The tests whose report gives a sample."""
    found = []
    rows = database.execute("SELECT is_up, report FROM tests ORDER BY start_s").fetchall()
    for number, (is_up, packed) in enumerate(rows, start=1):
        report = zlib.decompress(packed).decode()
        if not report:
            continue
        try:
            found.append(
                read_iperf3(
                    report, f"{name} test {number}", sha256(packed).hexdigest(),
                    direction="up" if is_up else "down",
                )
            )  # fmt: skip
        except TraceError:  # counted in _findings: it has no rate
            continue
    return found


def _findings(database: sqlite3.Connection, name: str) -> list[Finding]:
    """Events by kind, with their number and the last one's text."""
    rows = database.execute(
        "SELECT kind, sum(n), text, max(time_s) FROM events WHERE kind NOT IN "
        "('started', 'stopped', 'averaged') GROUP BY kind ORDER BY kind"
    ).fetchall()
    found = [
        Finding(source=name, kind=kind, n_samples=int(n), text=f"{text} (the last of {int(n)})")
        for kind, n, text, _ in rows
    ]
    n_failed = database.execute("SELECT count(*) FROM tests WHERE error != ''").fetchone()[0]
    if n_failed:
        text = f"{n_failed} tests ended with an error; what they measured until then is used"
        found.append(Finding(source=name, kind="failed tests", n_samples=n_failed, text=text))
    return found


def _averaged(database: sqlite3.Connection, name: str) -> list[Repair]:
    """What was averaged to keep the store small."""
    rows = database.execute(
        "SELECT step_s, count(*), sum(n_seconds) FROM hours WHERE step_s > 1 GROUP BY step_s"
    ).fetchall()
    return [
        Repair(
            source=name, kind=f"averaged to {step_s} s", n_samples=int(n_seconds),
            text=f"{n_hours:,} of the oldest hours are kept as averages over {step_s} s",
        )
        for step_s, n_hours, n_seconds in rows
    ]  # fmt: skip
