"""Columns that grow chunk by chunk without a second copy at the end."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

_LEAST_ROWS = 1024
_BLOCK_ROWS = 1 << 16


class GrowingColumn:
    """Numbers appended in chunks; as long as all are equal, only one is stored.

    Room for `n_rows_expected` values is asked for at once: memory that is never written to
    costs nothing, so the peak is the finished column and one chunk, where joining a list of
    chunks would need twice the column.
    """

    __slots__ = ("_array", "_dtype", "_n_expected", "_n_rows", "_value")

    def __init__(self, dtype: Any, n_rows_expected: int = 0) -> None:
        self._dtype = np.dtype(dtype)
        self._n_expected = n_rows_expected
        self._n_rows = 0
        self._value: Any = None  # the one value so far
        self._array: NDArray[Any] | None = None

    def append(self, values: Any, n_rows: int) -> None:
        """Add `n_rows` values: an array of that length, or one number for all of them."""
        if n_rows == 0:
            return
        chunk = np.asarray(values, dtype=self._dtype)
        if self._array is None:
            first = chunk.flat[0]
            if (self._n_rows == 0 or first == self._value) and bool((chunk == first).all()):
                self._value = first
                self._n_rows += n_rows
                return
        array = self._with_room(self._n_rows + n_rows)
        array[self._n_rows : self._n_rows + n_rows] = chunk
        self._n_rows += n_rows

    def extend(self, other: "GrowingColumn") -> None:
        """Add all values of `other`, which is finished by that."""
        values = other.finish()
        if values.strides == (0,):
            self.append(values[:1], values.size)
            return
        for at in range(0, values.size, _BLOCK_ROWS):
            block = values[at : at + _BLOCK_ROWS]
            self.append(block, block.size)

    def finish(self) -> NDArray[Any]:
        """All values; of stride 0 where they are one value."""
        if self._array is None:
            value = 0 if self._value is None else self._value
            return np.broadcast_to(np.array([value], dtype=self._dtype), (self._n_rows,))
        array, self._array = self._array[: self._n_rows], None
        return array

    def _with_room(self, n_rows: int) -> NDArray[Any]:
        """The stored values in an array that holds at least `n_rows`."""
        old = self._array
        if old is not None and n_rows <= old.size:
            return old
        size = max(n_rows, self._n_expected, _LEAST_ROWS, 0 if old is None else 2 * old.size)
        array = np.empty(size, dtype=self._dtype)
        if old is not None:
            array[: self._n_rows] = old[: self._n_rows]
        elif self._n_rows:
            array[: self._n_rows] = self._value
        self._array = array
        return array
