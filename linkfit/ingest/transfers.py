"""Tables without a header: real transfers told by their own arithmetic.

Nothing names the columns, but where one column is 8 times another over a third in every row,
the three are a rate, a size and a duration.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from linkfit.errors import TraceError
from linkfit.ingest.notes import Notes
from linkfit.ingest.options import ReadOptions
from linkfit.ingest.plan import NumberReader
from linkfit.ingest.sniff import Layout

BITS_PER_BYTE = 8
_TOLERANCE = 1e-3  # durations printed in ms, rates with 6 digits
_RATES_MBPS = (0.001, 10_000.0)


def headerless_names(layout: Layout, options: ReadOptions, notes: Notes) -> tuple[str, ...]:
    """Names for the columns of a table that has none: told by arithmetic, else by position.

    Raises
    ------
    TraceError
        If the caller names no columns and the numbers do not tell them.
    """
    names = [f"column {place}" for place in range(1, layout.n_columns + 1)]
    if options.columns:
        return tuple(names)
    numbers = _numbers(layout)
    found = _rate_size_duration(numbers)
    if found is None:
        shown = ", ".join(layout.rows[0][:6]) if layout.rows else ""
        raise TraceError(
            f"{notes.name}:{layout.first_row}: expected a header line, got {shown!r}; say what the "
            "columns are by their position, for example columns={1: 'start', 2: 'rate up'}, "
            "units={2: 'Mbit/s'}"
        )
    rate, size, duration = found
    names[size], names[duration] = "size [MB]", "duration [s]"
    if _rises(numbers[:, 0]) and 0 not in found:
        names[0] = "start [s]"
    notes.find(
        "columns told by arithmetic",
        1,
        f"no header, but column {rate + 1} = 8 x column {size + 1} / column {duration + 1} in "
        "every row: read as real transfers with size in MB, duration in s (rate in Mbit/s); say "
        "columns= and units= if they are not",
    )
    return tuple(names)


def _numbers(layout: Layout) -> NDArray[np.float64]:
    """First rows as numbers, shape (rows, columns)."""
    to_number = NumberReader(layout.decimal)
    rows: Sequence[Sequence[str]] = layout.rows
    return np.array([[to_number(cell) for cell in row] for row in rows], dtype=np.float64)


def _rises(values: NDArray[np.float64]) -> bool:
    return bool(np.isfinite(values).all() and (np.diff(values) > 0).all())


def _rate_size_duration(values: NDArray[np.float64]) -> tuple[int, int, int] | None:
    """Places of rate, size and duration, if exactly one triple of columns obeys their law."""
    usable = [
        i for i in range(values.shape[1])
        if np.isfinite(values[:, i]).all() and (values[:, i] > 0).all()
    ]  # fmt: skip
    # constant columns (a count of 1) fit too much by chance
    varied = [i for i in usable if np.unique(values[:, i]).size > 1 or values.shape[0] == 1]
    found = []
    for size in varied:
        for duration in varied:
            if duration == size:
                continue
            told_mbps = BITS_PER_BYTE * values[:, size] / values[:, duration]
            low, high = _RATES_MBPS
            if not ((told_mbps > low) & (told_mbps < high)).all():
                continue
            found += [
                (rate, size, duration)
                for rate in varied
                if rate not in (size, duration)
                and np.allclose(values[:, rate], told_mbps, rtol=_TOLERANCE)
            ]
    # rate = 8 size / duration is 8 size / rate = duration as well: the size is the same, so the
    # order in which such files are written (duration before the rate it makes) decides
    found = [triple for triple in found if triple[2] < triple[0]] if len(found) == 2 else found
    return found[0] if len(found) == 1 else None
