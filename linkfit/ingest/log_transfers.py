"""Real transfers from a web server's access log: Common or Combined Log Format and a duration.

An answer that the server sent (GET) went out, over the link UP; what a request carried (PUT, POST,
PATCH) came in, over the link DOWN. The formats hold the size of answers only and no duration: which
further fields hold the duration and the size of requests, the caller says. No address and no path
is kept.
"""

import math
import re
from array import array
from dataclasses import dataclass
from functools import lru_cache
from ipaddress import IPv4Address, IPv6Network, ip_address
from typing import TYPE_CHECKING

import numpy as np

from linkfit.addresses import PRIVATE_SPACES
from linkfit.errors import TraceError
from linkfit.ingest.log_lines import LOG_LINE, MAX_REQUESTS, log_lines, log_time_s
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.rawfile import RawFile
from linkfit.ingest.sniff import NotAMeasurementError
from linkfit.ingest.trace import Source, Trace, TransferSamples

if TYPE_CHECKING:
    from numpy.typing import NDArray

_UNIQUE_LOCAL = IPv6Network("fc00::/7")  # RFC 4193
_FIELD = re.compile(rb'"((?:[^"\\]|\\.)*)"|(\S+)')
_NUMBER = re.compile(rb"\d{1,15}(?:\.\d{1,9})?")
_LAST = "last"
_SIZE_PLACE = 7  # host, ident, user, time, request, status, size: what follows counts from 8
_MOST_FIELDS = 64
_UNITS_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6}
_BODY = {b"PUT", b"POST", b"PATCH"}
_SENT = {b"200", b"206"}
# what still waits in the server's kernel when its clock stops; below this an answer may do so
# whole (common practice: send buffers of 16 kB to some 100 kB, grown with the rate)
_LEAST_OUT_BYTES = 500_000.0
_LEAST_IN_BYTES = 100_000.0  # the program's own time weighs more than the link's below this
_RATES_BPS = (1e3, 1e10)  # a typical transfer outside is a wrong unit
_LOOK_LINES = 10
_STEP_LINES = 20_000  # between two words of progress
_PLACES = (
    "name the field after the Common Log Format's by its number from 1 (8 is the first behind the "
    "size), by KEY for KEY=value, or 'last'"
)
_HOW = (
    "say columns={'last': 'duration'}, units={'duration': 'ms'} for a duration in milliseconds at "
    "the end of each line"
)


def looks_like_access_log(head: bytes) -> bool:
    """Is one of the first lines in Common Log Format?"""
    return any(LOG_LINE.match(line) for line in head.splitlines()[:_LOOK_LINES])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fields:
    """Where duration and the size of requests are, and the unit of the duration."""

    duration: str | int
    duration_factor_s: float
    request_size: str | int | None


def read_log_transfers(raw: RawFile, options: ReadOptions) -> Trace:
    """Every transfer of a log that tells of the link.

    Raises
    ------
    TraceError
        If nobody says which field is the duration and in which unit, or no line holds a transfer.
    """
    fields = _fields(options, raw.name)
    reader = _Reader(fields)
    n_bytes = 0
    for line in log_lines(raw.rewind()):
        n_bytes += len(line) + 1
        reader.take(line)
        if reader.n_lines % _STEP_LINES == 0:
            options.progress(raw.name, min(n_bytes, raw.n_bytes), raw.n_bytes)
        if len(reader.start_s) >= MAX_REQUESTS:
            break
    return reader.trace(raw)


def _fields(options: ReadOptions, name: str) -> _Fields:
    places = {role: key for key, role in options.columns.items()}
    other = sorted(set(places) - {"duration", "size"})
    if other:
        raise TraceError(
            f"{name}: expected columns of an access log as 'duration' or 'size', got {other[0]!r}; "
            "the other fields say themselves what they are"
        )
    if "duration" not in places:
        # a folder with a log in it is read without it
        raise NotAMeasurementError(
            f"{name}: expected to know which field of the access log is the duration, got no word "
            f"of it; {_HOW}"
        )
    for key in places.values():
        if isinstance(key, int) and not _SIZE_PLACE < key <= _MOST_FIELDS:
            raise TraceError(f"{name}: expected a field from 8 to 64, got {key}; {_PLACES}")
    key = places["duration"]
    unit = options.units.get("duration", options.units.get(key, ""))
    if unit not in _UNITS_S:
        got = repr(unit) if unit else "none"
        raise TraceError(f"{name}: expected the duration's unit as s, ms or us, got {got}; {_HOW}")
    return _Fields(duration=key, duration_factor_s=_UNITS_S[unit], request_size=places.get("size"))


class _Reader:
    """Gathers transfers and counts what it leaves out, and why."""

    def __init__(self, fields: _Fields) -> None:
        self.fields = fields
        self.start_s, self.size_bytes, self.duration_s = array("d"), array("d"), array("d")
        self.is_up, self.is_local = array("b"), array("b")
        self.n_lines = self.n_unread = self.n_without = self.n_small = self.n_bodies = 0

    def take(self, line: bytes) -> None:
        self.n_lines += 1
        if not line.strip():
            return
        match = LOG_LINE.match(line)
        when_s = None if match is None else log_time_s(match["when"])
        if match is None or when_s is None:
            self.n_unread += 1
            return
        is_up = match["method"] == b"GET" and match["status"] in _SENT
        is_in = match["method"] in _BODY and match["status"].startswith(b"2")
        if not (is_up or is_in):
            return
        rest = [quoted or bare for quoted, bare in _FIELD.findall(line[match.end() :])]
        if is_up:
            size_bytes = float(match["size"]) if match["size"] != b"-" else None
        elif self.fields.request_size is None:
            self.n_bodies += 1
            return
        else:
            size_bytes = _value(rest, self.fields.request_size)
        duration = _value(rest, self.fields.duration)
        if size_bytes is None or not duration:  # missing, or 0: below what the clock tells
            self.n_without += 1
            return
        if size_bytes < (_LEAST_OUT_BYTES if is_up else _LEAST_IN_BYTES):
            self.n_small += 1
            return
        self.start_s.append(when_s)
        self.size_bytes.append(size_bytes)
        self.duration_s.append(duration * self.fields.duration_factor_s)
        self.is_up.append(is_up)
        self.is_local.append(_is_local(match["host"]))

    def trace(self, raw: RawFile) -> Trace:
        notes = Notes(raw.name)
        is_local = np.array(self.is_local, dtype=bool)
        keep = ~is_local
        if is_local.all():
            keep = is_local  # a proxy or a tunnel on this machine hands all of them over
        rates_bps = np.array(self.size_bytes) * 8 / np.array(self.duration_s)
        self._refuse_nothing(raw.name, rates_bps[keep])
        self._note(notes, n_local=int(is_local.sum()), all_local=bool(is_local.all()))
        order = np.flatnonzero(keep)[np.argsort(np.array(self.start_s)[keep], kind="stable")]
        samples = TransferSamples(
            start_s=np.array(self.start_s)[order],
            size_bytes=np.array(self.size_bytes)[order],
            duration_s=np.array(self.duration_s)[order],
            is_up=np.array(self.is_up, dtype=bool)[order],
            rtt_s=np.full(order.size, np.nan),
            source=np.zeros(order.size),
        )
        source = Source(name=raw.name, format="access log", sha256=raw.sha256)
        return Trace(sources=(source,), transfers=samples, repairs=notes.repairs,
                     findings=notes.findings)  # fmt: skip

    def _refuse_nothing(self, name: str, rates_bps: "NDArray[np.float64]") -> None:
        if not rates_bps.size:
            raise TraceError(
                f"{name}: expected transfers with a size and a duration, got none in "
                f"{self.n_lines:,} lines ({self.n_unread:,} in no log format, {self.n_without:,} "
                f"without a duration in that field, {self.n_small:,} too small to tell of the "
                f"link); {_PLACES}"
            )
        typical_bps = float(np.median(rates_bps))
        low_bps, high_bps = _RATES_BPS
        if not low_bps <= typical_bps <= high_bps:
            raise TraceError(
                f"{name}: expected transfers between 1 kbit/s and 10 Gbit/s, got {typical_bps:.3g} "
                "bit/s typically; is the duration's unit right?"
            )

    def _note(self, notes: Notes, *, n_local: int, all_local: bool) -> None:
        notes.repair("line in no log format", self.n_unread, "{n} lines left out")
        notes.repair(
            "transfer without a duration",
            self.n_without,
            "{n} left out: no number above 0 as their duration, or none as their size",
        )
        notes.find(
            "directions of a log", 1,
            "answers (GET) went out, over the link up; what requests carried (PUT, POST, PATCH) "
            "came in, over the link down",
        )  # fmt: skip
        notes.find(
            "visitors may be slower", len(self.start_s) - (0 if all_local else n_local),
            "a transfer is as slow as the slower of this link and the visitor's own: its rate is "
            "what the link carried at least; an answer is done for the server when its last byte "
            "waits in the kernel, so short ones look faster",
        )  # fmt: skip
        notes.find(
            "too small", self.n_small,
            "answers below 500 kB and requests below 100 kB tell of the server, not of the link",
        )  # fmt: skip
        notes.find(
            "uploads left out", self.n_bodies,
            "the format holds the size of answers only; name the field with the size of requests, "
            "columns={9: 'size'}",
        )  # fmt: skip
        if all_local:
            notes.find(
                "all from this network", n_local,
                "every request comes from a private address: taken as handed over by a proxy or a "
                "tunnel, whose durations are the link's only if it does not store and forward",
            )  # fmt: skip
        else:
            notes.find(
                "did not cross the link", n_local, "requests from private addresses left out"
            )


def _value(fields: list[bytes], place: str | int) -> float | None:
    """The number in a field; None where it holds none."""
    if isinstance(place, int):
        index = place - _SIZE_PLACE - 1
        found = fields[index] if index < len(fields) else b""
    elif place == _LAST:
        found = fields[-1] if fields else b""
    else:
        start = place.encode() + b"="
        found = next((field for field in fields if field.startswith(start)), b"")
    text = found.rpartition(b"=")[2].strip(b'"')
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if math.isfinite(value) else None


@lru_cache(maxsize=1 << 14)
def _is_local(host: bytes) -> bool:
    """Is it an address that does not come from outside? A name counts as outside."""
    try:
        address = ip_address(host.decode("ascii").removeprefix("::ffff:"))
    except ValueError:
        return False
    if isinstance(address, IPv4Address):
        own = any(address in space for space in PRIVATE_SPACES)
    else:
        own = address in _UNIQUE_LOCAL
    return own or address.is_loopback or address.is_link_local
