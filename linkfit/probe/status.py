"""What a store tells of now: is it recorded, what is used, has the link changed?"""

import sqlite3
import zlib
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from linkfit.ingest.store import open_store
from linkfit.ingest.store_format import HOUR_S
from linkfit.probe.change_point import LEAST_DAYS, Change, likeliest_change
from linkfit.probe.schedule import cycle_bounds_s, day_start_s
from linkfit.probe.status_exhaustion import Exhaustion, exhaustion
from linkfit.probe.tested_rates import rates_tested_bps
from linkfit.units import SECONDS_PER_DAY

LEVEL_PROB = 0.01  # of a false alarm, over all series of one look together
_LATEST_DAYS = 60
_WHOLE_DAY = 0.8  # of its seconds seen, for a day's use to stand for a day
_LEAST_PROBES = 10  # that a day's median rests on


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """Bytes of the running cycle, and how much of its time was watched."""

    begin_s: float
    end_s: float
    down_bytes: float
    up_bytes: float
    tests_bytes: float
    watched_frac: float

    def counted_bytes(self, counted: str) -> float:
        """What the plan counts: "both", "up" or "down". [bytes]"""
        return {"up": self.up_bytes, "down": self.down_bytes}.get(
            counted, self.up_bytes + self.down_bytes
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Daily medians of one thing: name, unit ("bit/s" or "s"), days, and their likeliest change.

    `change` is None with fewer than 16 days; `has_changed` whether it is more than chance.
    """

    name: str
    unit: str
    n_days: int
    change: Change | None
    change_s: float | None
    has_changed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """Everything that `linkfit status` says."""

    store: str
    now_s: float
    interface: str
    first_s: float | None
    last_s: float | None
    last_round_trip_s: float | None
    last_test_s: float | None
    n_events: dict[str, int]
    size_bytes: int
    use: Use
    counted: str
    cap_bytes: float | None
    exhaustion: Exhaustion | None
    n_days: int
    series: tuple[Series, ...]

    @property
    def refit_since_s(self) -> float | None:
        """When the last change began, if there is one: what is older tells of another link."""
        changed = [s.change_s for s in self.series if s.has_changed and s.change_s is not None]
        return max(changed, default=None)


def status_of(
    path: Path,
    *,
    now_s: float,
    cycle_day: int,
    zone: tzinfo,
    cap_bytes: float | None = None,
    counted: str = "both",
    seed: int = 0,
) -> Status:
    """The state of the record at `path`.

    Parameters
    ----------
    now_s : float
        Now. [s since 1970]
    cycle_day, zone
        When billing cycles begin.
    cap_bytes : float or None
        Of the plan. [bytes]
    counted : {"both", "up", "down"}
        What the plan counts.

    Raises
    ------
    TraceError
        If the store cannot be read.
    """
    with open_store(path) as database:
        use = _use(database, now_s, cycle_day, zone)
        days_bytes = _days_bytes(database, now_s, counted)
        runs_out = None
        if cap_bytes is not None:
            runs_out = exhaustion(
                days_bytes, used_bytes=use.counted_bytes(counted), cap_bytes=cap_bytes,
                left_days=(use.end_s - now_s) / SECONDS_PER_DAY, seed=seed,
            )  # fmt: skip
        first_s, last_s = _span(database, now_s)
        return Status(
            store=str(path), now_s=now_s, interface=_interface(database),
            first_s=first_s, last_s=last_s,
            last_round_trip_s=_one(
                database, "SELECT max(time_s) FROM round_trips WHERE time_s <= ?", now_s
            ),
            last_test_s=_one(
                database, "SELECT max(start_s) FROM tests WHERE error = '' AND start_s <= ?", now_s
            ),
            n_events={
                str(kind): int(n)
                for kind, n in database.execute(
                    "SELECT kind, sum(n) FROM events WHERE time_s <= ? GROUP BY kind", (now_s,)
                )
            },
            size_bytes=path.stat().st_size, use=use, counted=counted, cap_bytes=cap_bytes,
            exhaustion=runs_out, n_days=days_bytes.size,
            series=_series(database, day_start_s(now_s)),
        )  # fmt: skip


def _one(database: sqlite3.Connection, query: str, *at_s: float) -> float | None:
    value = database.execute(query, at_s).fetchone()[0]
    return None if value is None else float(value)


def _span(database: sqlite3.Connection, now_s: float) -> tuple[float | None, float | None]:
    """Start of the first and of the last sample until now; of packed hours to the hour."""
    first, last = (
        [
            _one(database, f"SELECT {end}(start_s) FROM {table} WHERE start_s <= ?", now_s)  # noqa: S608
            for table in ("hours", "recent")
        ]
        for end in ("min", "max")
    )
    if last[0] is not None:
        last[0] = min(last[0] + HOUR_S - 1, now_s)
    return (
        min((s for s in first if s is not None), default=None),
        max((s for s in last if s is not None), default=None),
    )


def _interface(database: sqlite3.Connection) -> str:
    row = database.execute("SELECT value FROM meta WHERE key = 'counters'").fetchone()
    return str(row[0]).split()[0] if row else ""


def _use(database: sqlite3.Connection, now_s: float, cycle_day: int, zone: tzinfo) -> Use:
    begin_s, end_s = cycle_bounds_s(now_s, cycle_day, zone)
    span = (begin_s, min(end_s, now_s))
    down, up, n_seconds = database.execute(
        "SELECT ifnull(sum(down_bytes), 0), ifnull(sum(up_bytes), 0), ifnull(sum(n_seconds), 0) "
        "FROM use WHERE start_s >= ? AND start_s < ?", span,
    ).fetchone()  # fmt: skip
    tests = database.execute(
        "SELECT ifnull(sum(spent_bytes), 0) FROM tests WHERE start_s >= ? AND start_s < ?", span
    ).fetchone()[0]
    elapsed_s = max(now_s - begin_s, 1.0)
    return Use(
        begin_s=begin_s, end_s=end_s, down_bytes=float(down), up_bytes=float(up),
        tests_bytes=float(tests), watched_frac=min(n_seconds / elapsed_s, 1.0),
    )  # fmt: skip


def _days_bytes(database: sqlite3.Connection, now_s: float, counted: str) -> NDArray[np.float64]:
    """Use of the latest whole days that were watched, today left out. [bytes]"""
    bytes_of = {"up": "up_bytes", "down": "down_bytes"}.get(counted, "down_bytes + up_bytes")
    today_s = day_start_s(now_s)
    rows = database.execute(
        f"SELECT sum({bytes_of}) FROM use WHERE start_s >= ? AND start_s < ? "  # noqa: S608
        "GROUP BY start_s / 86400 HAVING sum(n_seconds) >= ? ORDER BY start_s / 86400",
        (today_s - _LATEST_DAYS * SECONDS_PER_DAY, today_s, _WHOLE_DAY * SECONDS_PER_DAY),
    ).fetchall()
    return np.array([row[0] for row in rows], dtype=np.float64)


def _series(database: sqlite3.Connection, before_s: float) -> tuple[Series, ...]:
    """Daily medians of tests and idle round trips of days that are over, and their changes."""
    days = [
        ("rate of tests up", "bit/s", _test_days(database, before_s, is_up=True)),
        ("rate of tests down", "bit/s", _test_days(database, before_s, is_up=False)),
        ("idle round trip", "s", _round_trip_days(database, before_s)),
    ]
    n_told = sum(len(medians) >= LEAST_DAYS for _, _, medians in days)
    return tuple(
        _told(name, unit, medians, LEVEL_PROB / max(n_told, 1)) for name, unit, medians in days
    )


def _told(name: str, unit: str, medians: dict[int, float], level_prob: float) -> Series:
    change = change_s = None
    if len(medians) >= LEAST_DAYS:
        days = sorted(medians)
        change = likeliest_change(np.array([medians[day] for day in days]))
        change_s = days[change.index] * SECONDS_PER_DAY
    has_changed = change is not None and change.p < level_prob
    return Series(
        name=name, unit=unit, n_days=len(medians), change=change, change_s=change_s,
        has_changed=has_changed,
    )  # fmt: skip


def _test_days(database: sqlite3.Connection, before_s: float, *, is_up: bool) -> dict[int, float]:
    """Median over each day's tests of their median rates, by day since 1970."""
    found: dict[int, list[float]] = {}
    rows = database.execute(
        "SELECT start_s, report FROM tests WHERE is_up = ? AND start_s < ?", (is_up, before_s)
    )
    for start_s, packed in rows:
        rates_bps = rates_tested_bps(zlib.decompress(packed).decode())
        if rates_bps.size:
            day = int(start_s // SECONDS_PER_DAY)
            found.setdefault(day, []).append(float(np.median(rates_bps)))
    return {day: float(np.median(medians)) for day, medians in found.items()}


def _round_trip_days(database: sqlite3.Connection, before_s: float) -> dict[int, float]:
    """Median idle round trip of each day with enough probes; a loss is longer than all."""
    rows = np.array(
        database.execute(
            "SELECT time_s, ifnull(rtt_s, 9e999), n_probes FROM round_trips WHERE NOT loaded "
            "AND time_s < ? ORDER BY time_s",
            (before_s,),
        ).fetchall()
    ).reshape(-1, 3)
    days, first = np.unique((rows[:, 0] // SECONDS_PER_DAY).astype(int), return_index=True)
    parts = np.split(rows, first[1:])
    return {
        int(day): float(np.quantile(part[:, 1], 0.5, method="inverted_cdf"))
        for day, part in zip(days, parts, strict=False)
        if part[:, 2].sum() >= _LEAST_PROBES
    }
