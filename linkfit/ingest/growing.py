"""Columns that grow chunk by chunk without a second copy at the end."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

_LEAST_ROWS = 1024


class GrowingColumn:
    """Numbers appended in chunks; as long as all are equal, only one is stored.

    The memory grows in place, so that the peak is the finished column and one chunk, not
    twice the column as joining a list of chunks would need.
    """

    __slots__ = ("_array", "_dtype", "_n_rows", "_value")

    def __init__(self, dtype: Any) -> None:
        self._dtype = np.dtype(dtype)
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
            self._spread()
        self._reserve(self._n_rows + n_rows)
        assert self._array is not None
        self._array[self._n_rows : self._n_rows + n_rows] = chunk
        self._n_rows += n_rows

    def finish(self) -> NDArray[Any]:
        """All values; of stride 0 where they are one value."""
        if self._array is None:
            value = 0 if self._value is None else self._value
            return np.broadcast_to(np.array([value], dtype=self._dtype), (self._n_rows,))
        self._array.resize(self._n_rows, refcheck=False)
        array, self._array = self._array, None
        return array

    def _spread(self) -> None:
        """From one value to an array that holds it `n_rows` times."""
        self._array = np.empty(max(_LEAST_ROWS, self._n_rows), dtype=self._dtype)
        if self._n_rows:
            self._array[: self._n_rows] = self._value

    def _reserve(self, n_rows: int) -> None:
        assert self._array is not None
        if n_rows > self._array.size:  # untouched memory of the larger array costs nothing yet
            self._array.resize(max(n_rows, self._array.size * 3 // 2), refcheck=False)
