"""Times that the same runs took at each round trip, so that none is walked twice."""

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


class KnownTimes:
    """Times alone of the same runs at each round trip that they were walked with. [s]"""

    def __init__(self, n: int) -> None:
        self._rtts_s, self._times_s = np.full((1, n), -1.0), np.full((1, n), -1.0)

    def lacks(self, rtts_s: "NDArray[np.float64]") -> "NDArray[np.bool_]":
        """Runs that were never walked with these round trips."""
        return ~(self._rtts_s == rtts_s).any(axis=0)

    def add(
        self,
        rtts_s: "NDArray[np.float64]",
        where: "NDArray[np.bool_]",
        times_s: "NDArray[np.float64]",
    ) -> None:
        """Keep `times_s` of the runs `where`."""
        row_s, known_s = np.full((2, rtts_s.size), -1.0)
        row_s[where], known_s[where] = rtts_s[where], times_s
        self._rtts_s = np.vstack([self._rtts_s, row_s])
        self._times_s = np.vstack([self._times_s, known_s])

    def times_s(self, rtts_s: "NDArray[np.float64]") -> "NDArray[np.float64]":
        """Times of all runs, none of which `lacks` them."""
        found = (self._rtts_s == rtts_s).argmax(axis=0)
        return np.asarray(self._times_s[found, np.arange(rtts_s.size)])
