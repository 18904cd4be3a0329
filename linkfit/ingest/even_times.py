"""Times on even grids, kept as a few numbers: a year of seconds is one stretch, not 252 MB.

Only times that the grid gives back bit by bit are kept so; all others stay an array.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from linkfit.ingest.growing import GrowingColumn

if TYPE_CHECKING:
    from numpy.typing import NDArray

_BLOCK_ROWS = 1 << 16
_FREE_STRETCHES = 16
_ROWS_A_STRETCH = 256  # with fewer, grids save little and cost time


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EvenTimes:
    """`size` times in stretches: row i of stretch j lies at ``first + step * (i - origin)``.

    Parameters
    ----------
    first_s, step_s : array, shape (j,)
        Time of the origin and distance of rows. [s]
    origin : array of int, shape (j,)
        Row at which the grid has its first time; it may lie outside the stretch.
    begin : array of int, shape (j,)
        First row of each stretch, from 0.
    size : int
        Number of rows.
    """

    first_s: "NDArray[np.float64]"
    step_s: "NDArray[np.float64]"
    origin: "NDArray[np.int64]"
    begin: "NDArray[np.int64]"
    size: int

    def __post_init__(self) -> None:
        for name in ("first_s", "step_s", "origin", "begin"):
            array = getattr(self, name).view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def between(self, begin: int, end: int) -> "NDArray[np.float64]":
        """The times of the rows from `begin` up to, not including, `end`. [s]"""
        begin, end = min(begin, self.size), min(end, self.size)
        times_s = np.empty(max(end - begin, 0))
        if not times_s.size:
            return times_s
        first = int(np.searchsorted(self.begin, begin, side="right")) - 1
        last = int(np.searchsorted(self.begin, end, side="left"))
        for j in range(first, last):
            low = max(begin, int(self.begin[j]))
            high = min(end, int(self.begin[j + 1]) if j + 1 < self.begin.size else self.size)
            for at in range(low, high, _BLOCK_ROWS):
                until = min(high, at + _BLOCK_ROWS)
                times_s[at - begin : until - begin] = _on_grid(
                    self.first_s[j], self.step_s[j], at - int(self.origin[j]), until - at
                )
        return times_s

    def part(self, begin: int, end: int) -> Self:
        """The same rows as `between`, kept as stretches."""
        size = max(min(end, self.size) - begin, 0)
        first = max(int(np.searchsorted(self.begin, begin, side="right")) - 1, 0)
        last = int(np.searchsorted(self.begin, begin + size, side="left"))
        rows = slice(first, last if size else first)
        return type(self)(
            first_s=self.first_s[rows], step_s=self.step_s[rows],
            origin=self.origin[rows] - begin, begin=np.maximum(self.begin[rows] - begin, 0),
            size=size,
        )  # fmt: skip

    def selected(self, keep: "NDArray[Any]") -> "Self | NDArray[np.float64]":
        """The rows that `keep` (a mask or indices) selects; stretches if they lie together."""
        if keep.dtype != np.bool_:
            return self.between(0, self.size)[keep]
        n = int(np.count_nonzero(keep))
        begin = int(keep.argmax()) if n else 0
        if keep[begin : begin + n].all():
            return self.part(begin, begin + n)
        return self.between(0, self.size)[keep]


def end_to_end(parts: Sequence[EvenTimes]) -> EvenTimes:
    """The rows of all `parts`, one after the other."""
    offsets = np.cumsum([0, *(part.size for part in parts)]).tolist()
    moved = list(zip(parts, offsets, strict=False))
    return EvenTimes(
        first_s=np.concatenate([part.first_s for part in parts]),
        step_s=np.concatenate([part.step_s for part in parts]),
        origin=np.concatenate([part.origin + offset for part, offset in moved]),
        begin=np.concatenate([part.begin + offset for part, offset in moved]),
        size=offsets[-1],
    )


class GrowingTimes:
    """Finite times appended in chunks: stretches while they lie on few grids, else an array."""

    __slots__ = ("_begin", "_dense", "_first_s", "_n_expected", "_n_rows", "_step_s")

    def __init__(self, n_rows_expected: int = 0) -> None:
        self._n_expected = n_rows_expected
        self._n_rows = 0
        self._first_s: list[float] = []
        self._step_s: list[float] = []  # 0.0 as long as a stretch has one row
        self._begin: list[int] = []
        self._dense: GrowingColumn | None = None

    def append(self, values: Any, n_rows: int) -> None:
        """Add `n_rows` times: an array of that length, or one time for all of them. [s]"""
        if n_rows == 0:
            return
        if self._dense is None:
            times_s = np.broadcast_to(np.asarray(values, dtype=np.float64), (n_rows,))
            if self._add_stretches(times_s):
                return
            self._leave_grids()
        assert self._dense is not None
        self._dense.append(values, n_rows)
        self._n_rows += n_rows

    def finish(self) -> "EvenTimes | NDArray[np.float64]":
        """All times. [s]"""
        return self._even() if self._dense is None else self._dense.finish()

    def _even(self) -> EvenTimes:
        begin = np.array(self._begin, dtype=np.int64)
        return EvenTimes(
            first_s=np.array(self._first_s, dtype=np.float64),
            step_s=np.array(self._step_s, dtype=np.float64),
            origin=begin, begin=begin, size=self._n_rows,
        )  # fmt: skip

    def _leave_grids(self) -> None:
        """Keep what was added so far, and all to come, as an array."""
        even = self._even()
        self._dense = GrowingColumn(np.float64, self._n_expected)
        for at in range(0, even.size, _BLOCK_ROWS):
            times_s = even.between(at, at + _BLOCK_ROWS)
            self._dense.append(times_s, times_s.size)

    def _add_stretches(self, times_s: "NDArray[np.float64]") -> bool:
        """Add all of `times_s` to the grids; False, with nothing added, if they are too many."""
        n = times_s.size
        before = len(self._begin), self._step_s[-1:]
        at = self._going_on(times_s)
        steps_s = np.diff(times_s[at:])
        turns = np.flatnonzero(steps_s[1:] != steps_s[:-1]) + 1 + at  # rows where a step ends
        most = _FREE_STRETCHES + (self._n_rows + n) // _ROWS_A_STRETCH - len(self._begin)
        good = turns.size <= 2 * most
        while good and at < n:
            step_s = float(times_s[at + 1] - times_s[at]) if at + 1 < n else 0.0
            turn = int(np.searchsorted(turns, at, side="right"))
            until = int(turns[turn]) + 1 if turn < turns.size else n
            self._first_s.append(float(times_s[at]))
            self._step_s.append(step_s)
            self._begin.append(self._n_rows + at)
            good = np.array_equal(
                _on_grid(times_s[at], step_s, 0, until - at), times_s[at:until]
            )  # differences of doubles are rounded: only this tells
            at = until
        if good:
            self._n_rows += n
            return True
        n_stretches, last_step = before
        del self._first_s[n_stretches:], self._step_s[n_stretches:], self._begin[n_stretches:]
        self._step_s[-1:] = last_step
        return False

    def _going_on(self, times_s: "NDArray[np.float64]") -> int:
        """How many of `times_s` lie on the last grid; a stretch of one row takes its step here."""
        if not self._begin:
            return 0
        n_before = self._n_rows - self._begin[-1]
        if n_before == 1:
            self._step_s[-1] = float(times_s[0]) - self._first_s[-1]
        same = times_s == _on_grid(self._first_s[-1], self._step_s[-1], n_before, times_s.size)
        return times_s.size if same.all() else int(same.argmin())


def _on_grid(first_s: float, step_s: float, begin: int, n: int) -> "NDArray[np.float64]":
    times_s = np.arange(begin, begin + n, dtype=np.float64)
    times_s *= step_s
    times_s += first_s
    return times_s


class TimesOnDemand:
    """In a class, the place of a column of times that may be kept as EvenTimes.

    Who reads the column gets its array, which is built then and stays; `stored` gives what is
    kept, and builds nothing.
    """

    def __init__(self, slot: Any) -> None:
        self._slot = slot

    def __get__(self, instance: Any, owner: type | None = None) -> Any:
        """The array of times, read-only. [s]"""
        if instance is None:
            return self
        column = self._slot.__get__(instance)
        if isinstance(column, EvenTimes):
            column = column.between(0, column.size)
            column.flags.writeable = False
            self._slot.__set__(instance, column)
        return column

    def __set__(self, instance: Any, column: Any) -> None:
        """Keep an array or EvenTimes."""
        self._slot.__set__(instance, column)

    def stored(self, instance: Any) -> Any:
        """The array or the EvenTimes that is kept."""
        return self._slot.__get__(instance)


def stored(instance: Any, name: str) -> Any:
    """Column `name` of a table as it is kept: an array, or EvenTimes."""
    place = getattr(type(instance), name, None)
    return place.stored(instance) if isinstance(place, TimesOnDemand) else getattr(instance, name)
