"""Opening a measurement: from a path or standard input to seekable bytes with their sum."""

import hashlib
import io
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from linkfit.errors import TraceError

HEAD_BYTES = 1 << 16
_BLOCK_BYTES = 1 << 20
_NEWLINE = ord("\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawFile:
    """Bytes to read: `file` can seek, `head` is its start, `name` what messages call it."""

    name: str
    file: BinaryIO
    head: bytes
    n_bytes: int
    sha256: str
    has_nul: bool
    n_lines: int

    def rewind(self) -> BinaryIO:
        """The file, at its start."""
        self.file.seek(0)
        return self.file

    def read_all(self) -> bytes:
        """Every byte of the file."""
        return self.rewind().read()


@contextmanager
def open_raw(path: str | Path) -> Iterator[RawFile]:
    """The file at `path` (``"-"`` is standard input), summed and checked to hold something.

    Raises
    ------
    TraceError
        If it is absent, a directory, a device or a pipe with a name, unreadable or empty.
    """
    name = "standard input" if str(path) == "-" else str(path)
    with _open_seekable(path, name) as file:
        n_bytes = file.seek(0, io.SEEK_END)
        if n_bytes == 0:
            raise TraceError(f"{name}: expected measurements, got 0 bytes; was it cut off?")
        sha256, has_nul, n_lines = _sum(file)
        file.seek(0)
        head = file.read(HEAD_BYTES)
        yield RawFile(
            name=name,
            file=file,
            head=head,
            n_bytes=n_bytes,
            sha256=sha256,
            has_nul=has_nul,
            n_lines=n_lines,
        )


@contextmanager
def _open_seekable(path: str | Path, name: str) -> Iterator[BinaryIO]:
    if str(path) == "-":
        with tempfile.TemporaryFile() as spool:  # a pipe cannot seek, and may be too big to keep
            shutil.copyfileobj(sys.stdin.buffer, spool)
            yield spool
        return
    try:
        mode = Path(path).stat().st_mode
        if not stat.S_ISREG(mode):
            kind = "a directory" if stat.S_ISDIR(mode) else "a device, pipe or socket"
            raise TraceError(
                f"{name}: expected a file, got {kind}; give the files themselves, or '-'"
            )
        opened = Path(path).open("rb")  # noqa: SIM115  (errors while it is read are not caught here)
    except OSError as error:
        got = os.strerror(error.errno) if error.errno else str(error)
        raise TraceError(f"{name}: expected a readable file, got {got!r}") from error
    with opened:
        yield opened


def _sum(file: BinaryIO) -> tuple[str, bool, int]:
    """SHA-256 of all bytes, whether a NUL is among them, and their newlines, in one pass."""
    digest, has_nul, n_lines = hashlib.sha256(), False, 0
    file.seek(0)
    while block := file.read(_BLOCK_BYTES):
        digest.update(block)
        has_nul = has_nul or b"\0" in block
        n_lines += int(np.count_nonzero(np.frombuffer(block, dtype=np.uint8) == _NEWLINE))
    return digest.hexdigest(), has_nul, n_lines
