"""A web server's access log in Common Log Format: which object was asked for when, and how large.

``host ident user [10/Oct/2000:13:55:36 -0700] "GET /a.jpg HTTP/1.1" 200 2326``; what follows (as
in the combined format) is ignored. No personal data is kept: addresses and paths become running
numbers by way of a keyed hash whose key is thrown away with the reader.
"""

import hashlib
import secrets
import sys
from array import array
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from linkfit._checks import frozen_array
from linkfit.errors import TraceError
from linkfit.ingest.log_lines import LOG_LINE, MAX_REQUESTS, PACKED, log_lines, log_time_s

if TYPE_CHECKING:
    from numpy.typing import NDArray

_DIGEST_BYTES = 12
# 304: the visitor has a copy and asked whether it is still good; 206: a part of a large object
_FETCHES = {b"200", b"206", b"304"}
_NOT_MODIFIED = b"304"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AccessLog:
    """Requests that a cache could answer, in the order of their times.

    Parameters
    ----------
    times_s : array, shape (n,)
        Seconds from the first request. [s]
    object_index, client_index : array of int, shape (n,)
        Running numbers of what was asked for and of who asked.
    sizes_bytes : array, shape (n,)
        Payload of the object: the largest that was ever sent of it. [bytes]
    n_lines, n_unread, n_others : int
        Lines of the file; lines that are no Common Log Format; requests that no cache answers
        (another method than GET, an error, a redirect).
    """

    times_s: "NDArray[np.float64]"
    object_index: "NDArray[np.int64]"
    client_index: "NDArray[np.int64]"
    sizes_bytes: "NDArray[np.float64]"
    n_lines: int
    n_unread: int
    n_others: int

    def __post_init__(self) -> None:
        for name in ("times_s", "object_index", "client_index", "sizes_bytes"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def n_requests(self) -> int:
        """Requests that a cache could answer."""
        return int(self.times_s.size)

    @property
    def n_objects(self) -> int:
        """Different objects among them."""
        return int(self.object_index.max()) + 1

    @property
    def span_s(self) -> float:
        """From the first request to the last. [s]"""
        return float(self.times_s[-1])


def read_access_log(path: str | Path) -> AccessLog:
    """Read a log, line by line, from a file or from standard input ("-").

    Raises
    ------
    TraceError
        If it cannot be opened, is packed, or holds fewer than two requests that can be read.

    Notes
    -----
    Lines that are not in the format are counted and left out, as are all behind the first
    5 million requests. 24 bytes are kept of a request.
    """
    name = str(path)
    if name == "-":
        return _log(sys.stdin.buffer, "stdin")
    try:
        with Path(path).open("rb") as file:
            return _log(file, name)
    except (OSError, ValueError) as error:
        if isinstance(error, TraceError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise TraceError(
            f"{name!r}: expected a readable access log, got: {reason}; check the path"
        ) from error


def _log(file: BinaryIO, name: str) -> AccessLog:
    reader = _Reader()
    for line in log_lines(file):
        if not reader.n_lines and line.startswith(PACKED):
            raise TraceError(f"{name!r}: expected text, got a packed file; unpack it first")
        reader.take(line)
        if len(reader.times) >= MAX_REQUESTS:
            break
    return reader.finished(name)


class _Reader:
    """Gathers requests; forgets every name it was shown."""

    def __init__(self) -> None:
        self.key = secrets.token_bytes(16)
        self.numbers: tuple[dict[bytes, int], dict[bytes, int]] = ({}, {})
        self.times, self.objects, self.clients = array("d"), array("q"), array("q")
        self.sizes: list[float] = []
        self.n_lines = self.n_unread = self.n_others = 0

    def take(self, line: bytes) -> None:
        self.n_lines += 1
        if not line.strip():
            return
        match = LOG_LINE.match(line)
        when_s = None if match is None else log_time_s(match["when"])
        if match is None or when_s is None:
            self.n_unread += 1
            return
        if match["method"] != b"GET" or match["status"] not in _FETCHES:
            self.n_others += 1
            return
        number = self._number(0, match["path"])
        size = 0.0 if match["size"] == b"-" else float(match["size"])
        if number == len(self.sizes):
            self.sizes.append(0.0)
        if match["status"] != _NOT_MODIFIED:
            self.sizes[number] = max(self.sizes[number], size)
        self.times.append(when_s)
        self.objects.append(number)
        self.clients.append(self._number(1, match["host"]))

    def _number(self, kind: int, name: bytes) -> int:
        digest = hashlib.blake2b(name, digest_size=_DIGEST_BYTES, key=self.key).digest()
        known = self.numbers[kind]
        return known.setdefault(digest, len(known))

    def finished(self, name: str) -> AccessLog:
        if len(self.times) < 2:
            raise TraceError(
                f"{name!r}: expected an access log in Common Log Format with at least 2 answered "
                f"GET requests, got {len(self.times)} in {self.n_lines} lines "
                f"({self.n_unread} not in that format); write the log in Common Log Format"
            )
        times_s = np.array(self.times)
        order = np.argsort(times_s, kind="stable")
        objects = np.array(self.objects)[order]
        return AccessLog(
            times_s=times_s[order] - times_s[order[0]],
            object_index=objects,
            client_index=np.array(self.clients)[order],
            sizes_bytes=np.array(self.sizes)[objects],
            n_lines=self.n_lines,
            n_unread=self.n_unread,
            n_others=self.n_others,
        )
