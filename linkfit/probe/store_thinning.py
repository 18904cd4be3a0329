"""A store kept within its size: the oldest detail becomes longer averages, and is counted."""

import math
import sqlite3
from itertools import pairwise

from linkfit.ingest.store_format import STEPS_S
from linkfit.probe.samples_blob import HourOfSamples

_HOURS_AT_ONCE = 24 * 7
_BURST_S = 600


def used_bytes(database: sqlite3.Connection) -> int:
    """Bytes of the file that hold something; free pages are used again."""
    pages, free, size_bytes = (
        int(database.execute(f"PRAGMA {name}").fetchone()[0])
        for name in ("page_count", "freelist_count", "page_size")
    )
    return (pages - free) * size_bytes


def thin(database: sqlite3.Connection, most_bytes: float, now_s: float) -> int:
    """Average the oldest hours, a week at a time, until at most `most_bytes` are used.

    Returns
    -------
    n_hours : int
        Hours whose cells became longer; an event in the same transaction says so.

    Notes
    -----
    Seconds become 10 s, all of them before any 10 s become 60 s, and so on to 600 s, oldest
    first; round trips as old as what was averaged become bursts of 10 min. Bytes used, tests and
    events are never touched.
    """
    n_hours = 0
    while used_bytes(database) > most_bytes:
        n_more = _one_pass(database, now_s)
        if not n_more:
            break
        n_hours += n_more
    return n_hours


def _one_pass(database: sqlite3.Connection, now_s: float) -> int:
    for step_s, longer_s in pairwise(STEPS_S):
        rows = database.execute(
            "SELECT start_s, codes FROM hours WHERE step_s = ? ORDER BY start_s LIMIT ?",
            (step_s, _HOURS_AT_ONCE),
        ).fetchall()
        if rows:
            _lengthen(database, rows, step_s, longer_s, now_s)
            return len(rows)
    return 0


def _lengthen(
    database: sqlite3.Connection,
    rows: list[tuple[int, bytes]],
    step_s: int,
    longer_s: int,
    now_s: float,
) -> None:
    hours = [
        (longer_s, HourOfSamples.unpacked(codes, step_s).averaged(longer_s).packed(), start_s)
        for start_s, codes in rows
    ]
    database.execute("BEGIN IMMEDIATE")
    try:
        database.executemany("UPDATE hours SET step_s = ?, codes = ? WHERE start_s = ?", hours)
        _make_bursts(database, rows[-1][0])
        database.execute(
            "INSERT INTO events VALUES (?, 'averaged', ?, ?)",
            (now_s, len(rows), f"hours of {step_s} s cells became {longer_s} s averages"),
        )
        database.execute("COMMIT")
    except BaseException:
        if database.in_transaction:
            database.execute("ROLLBACK")
        raise


def _make_bursts(database: sqlite3.Connection, before_s: int) -> None:
    """One row for the single probes of each 10 min before `before_s`: mean, spread, losses."""
    database.create_function("root", 1, math.sqrt, deterministic=True)  # SQLite's is optional
    database.execute(
        """CREATE TEMP TABLE bursts AS SELECT min(time_s) AS time_s,
        sum(rtt_s * (n_probes - n_lost)) / sum((n_probes - n_lost) * (rtt_s IS NOT NULL)) AS rtt_s,
        loaded, avg(rtt_s * rtt_s) - avg(rtt_s) * avg(rtt_s) AS variance,
        sum(n_probes) AS n_probes, sum(n_lost) AS n_lost
        FROM round_trips WHERE time_s < ? AND n_probes = 1
        GROUP BY CAST(time_s / ? AS INTEGER), loaded""",
        (before_s, _BURST_S),
    )
    database.execute("DELETE FROM round_trips WHERE time_s < ? AND n_probes = 1", (before_s,))
    database.execute(
        "INSERT INTO round_trips (time_s, rtt_s, loaded, spread_s, n_probes, n_lost) SELECT "
        "time_s, rtt_s, loaded, root(max(ifnull(variance, 0), 0)), n_probes, n_lost FROM bursts"
    )
    database.execute("DROP TABLE bursts")
