"""Opening a measurement: from a path or standard input to seekable bytes with their sum."""

import hashlib
import io
import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from linkfit.errors import TraceError
from linkfit.ingest.text import refuse_nul

HEAD_BYTES = 1 << 16
_BLOCK_BYTES = 1 << 20
_PIECE_BYTES = 1 << 18  # stays in cache
_NEWLINE = ord("\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class RawFile:
    """Bytes to read: `file` can seek, `head` is its start, `name` what messages call it."""

    name: str
    file: BinaryIO
    head: bytes
    n_bytes: int
    summing: "Future[str]"

    @property
    def sha256(self) -> str:
        """SHA-256 of all bytes; waits until the sum is done."""
        return self.summing.result()

    @property
    def n_lines(self) -> int:
        """Newlines in the file; reads it through."""
        return sum(int(np.count_nonzero(codes == _NEWLINE)) for codes in self._pieces())

    @property
    def has_nul(self) -> bool:
        """Whether a NUL is among the bytes; reads up to it."""
        return any(codes.min() == 0 for codes in self._pieces())

    def refuse_nul(self) -> None:
        """Raise if a NUL is among the bytes, which no text holds but UTF-16."""
        if self.has_nul:
            refuse_nul(self.read_all(), self.name)

    def rewind(self) -> BinaryIO:
        """The file, at its start."""
        self.file.seek(0)
        return self.file

    def read_all(self) -> bytes:
        """Every byte of the file."""
        return self.rewind().read()

    def _pieces(self) -> Iterator[NDArray[np.uint8]]:
        file = self.rewind()
        while piece := file.read(_PIECE_BYTES):
            yield np.frombuffer(piece, dtype=np.uint8)


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
        with ThreadPoolExecutor(max_workers=1) as beside:
            summing = beside.submit(_sum, file.fileno(), n_bytes)
            file.seek(0)
            head = file.read(HEAD_BYTES)
            yield RawFile(
                name=name,
                file=file,
                head=head,
                n_bytes=n_bytes,
                summing=summing,
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
        raise TraceError(
            f"{name}: expected a readable file, got {got!r}; check the path"
        ) from error
    with opened:
        yield opened


def _sum(descriptor: int, n_bytes: int) -> str:
    """SHA-256 of the first `n_bytes`, read beside whoever reads the file at his own place."""
    digest, at = hashlib.sha256(), 0
    while block := os.pread(descriptor, min(_BLOCK_BYTES, n_bytes - at), at):
        digest.update(block)
        at += len(block)
    return digest.hexdigest()
