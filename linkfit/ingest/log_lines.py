"""Lines of a web server's access log in Common Log Format, whatever follows on each of them."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta, timezone
from typing import BinaryIO

MAX_REQUESTS = 5_000_000
MAX_LINE_BYTES = 1 << 16
PACKED = (b"\x1f\x8b", b"\xfd7zXZ", b"BZh")  # how compressed files begin
LOG_LINE = re.compile(
    rb'(?P<host>\S{1,300}) \S+ .{0,300}?\[(?P<when>[^\]]{20,30})\] '
    rb'"(?P<method>[A-Z]{1,20}) (?P<path>[^ "]{1,8000})(?: [^"]*)?" (?P<status>\d{3}) '
    rb"(?P<size>\d{1,15}|-)(?=\s|$)"
)  # fmt: skip
_WHEN = re.compile(rb"(\d{2})/([A-Z][a-z]{2})/(\d{4}):(\d{2}):(\d{2}):(\d{2}) ([+-])(\d{2})(\d{2})")
_MONTHS = {
    name: number
    for number, name in enumerate(
        (b"Jan", b"Feb", b"Mar", b"Apr", b"May", b"Jun", b"Jul", b"Aug", b"Sep", b"Oct", b"Nov",
         b"Dec"), start=1)
}  # fmt: skip


def log_lines(file: BinaryIO) -> Iterable[bytes]:
    """Lines without their ends, none longer than MAX_LINE_BYTES: the rest of one is skipped."""
    while line := file.readline(MAX_LINE_BYTES):
        rest = line
        while not rest.endswith(b"\n") and (rest := file.readline(MAX_LINE_BYTES)):
            pass
        yield line.rstrip(b"\r\n")


def log_time_s(text: bytes) -> float | None:
    """``10/Oct/2000:13:55:36 -0700`` in seconds of the epoch; None for no such moment."""
    match = _WHEN.fullmatch(text)
    if match is None or match[2] not in _MONTHS:
        return None
    day, year, hour, minute, second = (int(match[i]) for i in (1, 3, 4, 5, 6))
    offset = timedelta(hours=int(match[8]), minutes=int(match[9]))
    zone = timezone(-offset if match[7] == b"-" else offset) if offset < timedelta(days=1) else UTC
    try:
        # a leap second is the last of its minute
        moment = datetime(year, _MONTHS[match[2]], day, hour, minute, min(second, 59), tzinfo=zone)
        return moment.timestamp()
    except (ValueError, OverflowError):
        return None
