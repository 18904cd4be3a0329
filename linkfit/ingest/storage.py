"""Columns of numbers kept small: a constant column is one stored value, seen as many.

`np.broadcast_to` gives an array of stride 0; the functions here keep it that way through
typing, joining and selecting. Times on even grids pass through as EvenTimes in the same way. So
a year of 1 s samples costs 8 bytes a row, not 43.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.errors import InputError
from linkfit.ingest.even_times import EvenTimes, end_to_end, stored

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Work on long columns in blocks, so that no mask is as long as they are and all stay in cache.
BLOCK_ROWS = 1 << 16


def is_constant(array: "NDArray[Any]") -> bool:
    """Whether all items of `array` are one stored value (stride 0, as broadcasting leaves it)."""
    return array.ndim == 1 and array.size > 1 and array.strides == (0,)


def typed(values: Any, dtype: Any) -> "NDArray[Any]":
    """`values` contiguous and of `dtype`; a constant column stays one stored value."""
    array = np.asarray(values)
    if is_constant(array):
        return np.broadcast_to(array[:1].astype(dtype), array.shape)
    return np.ascontiguousarray(array, dtype=dtype)


def joined(parts: "Sequence[Any]") -> Any:
    """`parts` end to end; a constant column stays one stored value, EvenTimes stay so."""
    parts = [part for part in parts if part.size]
    if len(parts) == 1:
        return parts[0]
    if parts and all(isinstance(part, EvenTimes) for part in parts):
        return end_to_end(parts)
    parts = [p.between(0, p.size) if isinstance(p, EvenTimes) else p for p in parts]
    first = parts[0][0] if parts else None
    if parts and all((is_constant(p) or p.size == 1) and p[0] == first for p in parts):
        return np.broadcast_to(parts[0][:1], (sum(p.size for p in parts),))
    return np.concatenate(parts) if parts else np.empty(0)


def freeze(instance: Any, names: Sequence[str], dtypes: dict[str, Any]) -> None:
    """Make the named array fields typed, read-only and equally long."""
    lengths = set()
    for name in names:
        column = stored(instance, name)
        if isinstance(column, EvenTimes):  # made here, so right; building its array is the cost
            lengths.add(column.size)
            continue
        array = typed(column, dtypes[name])
        if array.ndim != 1:
            raise InputError(f"{name}: expected shape (n,), got {array.shape}")
        array = array.view()
        array.flags.writeable = False
        object.__setattr__(instance, name, array)
        lengths.add(array.size)
    if len(lengths) > 1:
        sizes = {name: stored(instance, name).size for name in names}
        raise InputError(f"samples: expected arrays of one length, got {sizes}")


def moved(source: "NDArray[Any]", offset: int) -> "NDArray[Any]":
    """Source indices moved by `offset`; a constant column stays one stored value."""
    if is_constant(source):
        return np.broadcast_to(source[:1] + offset, source.shape)
    return source + offset if offset else source


def first_wrong(values: "NDArray[Any]", *, zero_is_wrong: bool) -> int | None:
    """Index of the first item that is not finite or below the limit; in blocks, to stay small."""
    values = values[:1] if is_constant(values) else values
    for begin in range(0, values.size, BLOCK_ROWS):
        block = values[begin : begin + BLOCK_ROWS]
        wrong = ~np.isfinite(block) | ((block <= 0) if zero_is_wrong else (block < 0))
        if wrong.any():
            return begin + int(np.flatnonzero(wrong)[0])
    return None


def selected(column: Any, keep: "NDArray[Any]") -> Any:
    """The items that `keep` (a mask or indices) selects; a constant stays one stored value."""
    if keep.dtype == np.bool_ and keep.size == column.size and keep.all():
        return column
    if isinstance(column, EvenTimes):
        return column.selected(keep)
    array: NDArray[Any] = column
    if not is_constant(array):
        return array[keep]
    n = int(np.count_nonzero(keep)) if keep.dtype == np.bool_ else keep.size
    return np.broadcast_to(array[:1], (n,))
