"""Two classes on one link: low priority gets the moments in which nothing else is under way.

On the clock of capacity the link is either busy with the first class or free for the second; on
the clock that counts its free moments alone, the second class shares equally in turn.
"""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.sharing import end_to_end, leave_clock, shared

if TYPE_CHECKING:
    from numpy.typing import NDArray


def leave_clock_by_priority(
    clock_bits: "NDArray[np.float64]",
    size_bits: "NDArray[np.float64]",
    group: "NDArray[np.int64]",
    low: "NDArray[np.bool_]",
    factors: "NDArray[np.float64] | None" = None,
) -> "NDArray[np.float64]":
    """Reading of the capacity clock at which each transfer leaves; sorted by group, then clock.

    Parameters
    ----------
    low : array of bool, shape (n,)
        Transfers that wait while any other of their group is under way; they keep what they
        have got (preemptive resume).
    factors : array, shape (n, 3), optional
        Those of `Beside`; each class has the streams beside it as if the other were not there.

    Notes
    -----
    O(n log n): one pass of processor sharing for each class.

    Source
    ------
    L. Kleinrock, "Queueing Systems", vol. 2, 1976, section 3.6 (preemptive resume; from memory).
    """
    if not low.any():
        return leave_clock(clock_bits, size_bits, group, factors)
    high_factors, low_factors = (None, None) if factors is None else (factors[~low], factors[low])
    shift = end_to_end(clock_bits, size_bits, group)
    clock = clock_bits + shift
    leaves = np.empty(clock.size)
    leaves[~low] = shared(clock[~low].tolist(), size_bits[~low].tolist(), high_factors)
    served = np.r_[0.0, np.cumsum(size_bits[~low])]
    # free time of the link, as far as the first class goes, up to each of its arrivals
    free = np.maximum.accumulate(clock[~low] - served[:-1])
    n_before = np.searchsorted(clock[~low], clock[low], side="right")
    free_until = np.r_[0.0, free][n_before]
    arrives = np.maximum(free_until, clock[low] - served[n_before])
    ends = np.asarray(shared(arrives.tolist(), size_bits[low].tolist(), low_factors))
    leaves[low] = ends + served[np.searchsorted(free, ends, side="left")]
    # the end of its own bits, rounding apart
    return np.maximum(leaves - shift, clock_bits)
