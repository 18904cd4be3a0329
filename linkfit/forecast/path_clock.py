"""PathClock: where many transfers stand on their paths, moved forward in small steps.

A move that stays inside the present step of a path is one multiplication; only those that leave
it are looked up. Rounds of slow start are far shorter than a second, so most of them stay.
"""

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.paths import CapacityPaths


class PathClock:
    """Time [s] and cumulative bits of each transfer, arrays (n,), always in step.

    Rows that carry nothing at all stand at time inf as soon as they are to carry something.
    """

    def __init__(
        self, paths: "CapacityPaths", rows: "NDArray[np.int_]", times_s: "NDArray[np.float64]"
    ) -> None:
        self.paths, self.rows = paths, rows
        self.time_s = np.array(times_s, dtype=np.float64)
        self.bits = np.zeros(rows.size)
        self._end_s = np.zeros(rows.size)
        self._end_bits = np.zeros(rows.size)
        self._rate_bps = np.zeros(rows.size)
        self._seat(slice(None))

    def take(self, keep: "NDArray[Any]") -> None:
        """Go on with the transfers that `keep` (a mask or indices) selects."""
        for name in ("rows", "time_s", "bits", "_end_s", "_end_bits", "_rate_bps"):
            setattr(self, name, getattr(self, name)[keep])

    def send(self, bits: float) -> None:
        """Until each path has carried `bits` more."""
        self.bits += bits
        rest = self._end_bits - self.bits
        with np.errstate(divide="ignore", invalid="ignore"):
            self.time_s = self._end_s - rest / self._rate_bps
        out = np.flatnonzero((rest < 0) | (self._rate_bps <= 0))
        if out.size:
            self.time_s[out] = self.paths.time_at_bits_s(self.bits[out], self.rows[out])
            self._seat(out)

    def wait(self, duration_s: "NDArray[np.float64]") -> None:
        """`duration_s` later, whatever the link carries meanwhile."""
        self.time_s = self.time_s + duration_s
        with np.errstate(invalid="ignore"):  # inf - inf of dead rows, which _seat sets right
            ahead_s = self._end_s - self.time_s
            self.bits = self._end_bits - self._rate_bps * ahead_s
        out = np.flatnonzero(~(ahead_s >= 0))
        if out.size:
            self._seat(out)

    def _seat(self, which: "NDArray[np.int_] | slice") -> None:
        """Find the step in which `which` stand, from their time."""
        paths = self.paths
        rows, time_s = self.rows[which], self.time_s[which]
        latest_s = time_s.max(initial=0.0)
        base_bits: NDArray[Any] | float = 0.0
        start_s: NDArray[Any] | float = 0.0
        flat = paths.cumulative_bits.reshape(-1)
        first = rows * (paths.n_steps + 1)
        if latest_s >= paths.horizon_s:
            # dead rows stand at inf: they are put at the end of a step that carries nothing
            time_s = np.where(np.isfinite(time_s), time_s, 0.0)
            loops = np.floor(time_s / paths.horizon_s)
            start_s = loops * paths.horizon_s
            base_bits = loops * flat[first + paths.n_steps]
        index = ((time_s - start_s) / paths.step_s).astype(np.int64)
        if latest_s >= paths.horizon_s:
            index = np.minimum(index, paths.n_steps - 1)
        at = first + index
        low, high = flat[at], flat[at + 1]
        rate_bps = (high - low) / paths.step_s
        end_s = start_s + (index + 1) * paths.step_s
        end_bits = base_bits + high
        self._end_s[which] = end_s
        self._end_bits[which] = end_bits
        self._rate_bps[which] = rate_bps
        self.bits[which] = end_bits - rate_bps * (end_s - time_s)
