"""One recorder a store: a lock that the kernel lets go when its holder ends, however it ends."""

import fcntl
import os
from pathlib import Path

from linkfit.errors import InputError


class StoreLock:
    """Holds ``STORE.lock`` until `release`.

    The lock is on a file of its own: closing any other descriptor of the store itself would drop
    the locks that SQLite holds on it (sqlite.org/howtocorrupt.html section 2.2).

    Raises
    ------
    InputError
        If another process holds it; the text names that process.
    """

    def __init__(self, store: Path) -> None:
        path = store.with_name(store.name + ".lock")
        self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(self._descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(self._descriptor, 32).decode("ascii", "replace").strip()
            os.close(self._descriptor)
            raise InputError(
                f"{store}: expected a store that nobody records into, got one that process "
                f"{holder or 'unknown'} holds; end that recorder or name another store"
            ) from None
        os.ftruncate(self._descriptor, 0)
        os.pwrite(self._descriptor, f"{os.getpid()}\n".encode(), 0)

    def release(self) -> None:
        """Let go of the lock; once only."""
        os.close(self._descriptor)
