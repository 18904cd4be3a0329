"""The recorder's store: one SQLite file, its tables, and how an hour of seconds is coded.

What writes it (`linkfit.probe.store`) and what reads it (`linkfit.ingest.store`) agree here.
Standard library only: the recorder runs for months on small machines.

A second's mean rate is one code of 16 bits on a logarithmic scale: 0 is exactly nothing, GAP is
"not observed", and every other rate from 1 byte in 1000 s to 1e12 bytes/s comes back within
0.027 %. Bytes that count against a plan are kept beside it as whole numbers (table `use`).
"""

import math
import sqlite3
import sys
from array import array
from collections.abc import Iterable

APPLICATION_ID = 0x4C4B4654  # SQLite keeps it at byte 68 of the file (format3.html section 1.3)
VERSION = 1
_APPLICATION_ID_AT = 68

HOUR_S = 3600
STEPS_S = (1, 10, 60, 600)  # of an hour's cells: as recorded, then ever longer averages
GAP = 0xFFFF
_LEAST_BYTES_PER_S, _MOST_BYTES_PER_S = 1e-3, 1e12
CODE_STEP = math.log(_MOST_BYTES_PER_S / _LEAST_BYTES_PER_S) / (GAP - 2)
_LOG_LEAST = math.log(_LEAST_BYTES_PER_S)

_TABLES_0 = """
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE recent (start_s INTEGER PRIMARY KEY, down_bytes INTEGER NOT NULL,
  up_bytes INTEGER NOT NULL);
CREATE TABLE hours (start_s INTEGER PRIMARY KEY, step_s INTEGER NOT NULL,
  n_seconds INTEGER NOT NULL, codes BLOB NOT NULL);
CREATE TABLE use (start_s INTEGER PRIMARY KEY, down_bytes INTEGER NOT NULL,
  up_bytes INTEGER NOT NULL, n_seconds INTEGER NOT NULL);
CREATE TABLE round_trips (time_s REAL NOT NULL, rtt_s REAL, loaded INTEGER NOT NULL);
CREATE TABLE tests (start_s REAL NOT NULL, took_s REAL NOT NULL, is_up INTEGER NOT NULL,
  ended TEXT NOT NULL, spent_bytes INTEGER NOT NULL, error TEXT NOT NULL, report BLOB NOT NULL);
"""
# each entry brings a store from the version of its place to the next one
_MIGRATIONS = (
    """
ALTER TABLE round_trips ADD COLUMN spread_s REAL NOT NULL DEFAULT 0;
ALTER TABLE round_trips ADD COLUMN n_probes INTEGER NOT NULL DEFAULT 1;
ALTER TABLE round_trips ADD COLUMN n_lost INTEGER NOT NULL DEFAULT 0;
UPDATE round_trips SET n_lost = 1 WHERE rtt_s IS NULL;
CREATE INDEX round_trips_by_time ON round_trips (time_s);
CREATE INDEX tests_by_time ON tests (start_s);
CREATE TABLE events (time_s REAL NOT NULL, kind TEXT NOT NULL, n INTEGER NOT NULL,
  text TEXT NOT NULL);
""",
)


def is_store(head: bytes) -> bool:
    """Do the first bytes of a file say that it is a recorder's store?"""
    end = _APPLICATION_ID_AT + 4
    return (
        head.startswith(b"SQLite format 3\0")
        and int.from_bytes(head[_APPLICATION_ID_AT:end], "big") == APPLICATION_ID
    )


def version_of(database: sqlite3.Connection) -> int:
    """Version of the tables; 0 also for an empty file."""
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def create(database: sqlite3.Connection, *, version: int = VERSION) -> None:
    """Make the tables of `version` in an empty file."""
    database.executescript(
        f"BEGIN; PRAGMA application_id = {APPLICATION_ID}; {_TABLES_0}"
        f"{''.join(_MIGRATIONS[:version])} PRAGMA user_version = {version}; COMMIT;"
    )


def migrate(database: sqlite3.Connection) -> int:
    """Bring the tables to VERSION, one transaction a version; how many it took."""
    first = version_of(database)
    for version in range(first, VERSION):
        database.executescript(
            f"BEGIN; {_MIGRATIONS[version]} PRAGMA user_version = {version + 1}; COMMIT;"
        )
    return max(VERSION - first, 0)


def code_of(rate_bytes_per_s: float) -> int:
    """Code of a mean rate; GAP for what is no number. [bytes/s]"""
    if not 0 <= rate_bytes_per_s < math.inf:
        return GAP
    if rate_bytes_per_s == 0:
        return 0
    place = round((math.log(rate_bytes_per_s) - _LOG_LEAST) / CODE_STEP)
    return min(max(place, 0), GAP - 2) + 1


def rate_of(code: int) -> float:
    """Mean rate that a code stands for; NaN for GAP. [bytes/s]"""
    if code == GAP:
        return math.nan
    return math.exp(_LOG_LEAST + CODE_STEP * (code - 1)) if code else 0.0


def pack(codes: Iterable[int]) -> bytes:
    """Codes as bytes, little-endian."""
    packed = array("H", codes)
    if sys.byteorder == "big":
        packed.byteswap()
    return packed.tobytes()


def unpack(blob: bytes) -> "array[int]":
    """The codes of `pack`."""
    codes = array("H")
    codes.frombytes(blob)
    if sys.byteorder == "big":
        codes.byteswap()
    return codes
