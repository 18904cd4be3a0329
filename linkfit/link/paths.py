"""CapacityPaths: possible futures of one direction of the link, the only thing forecasts read.

Row `d` is one future: the bits the link could have carried by the end of each step of a regular
grid, at the IP layer. A path loops: after its last step it starts again, so a transfer that
outlives the horizon still ends. Rows that share a `world` share every unknown parameter of the
link and differ by chance alone; the spread between worlds is what more measuring would shrink.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

import numpy as np

from linkfit._checks import non_negative_array, positive
from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CapacityPaths:
    """Futures of a link direction: cumulative bits, shape (d, t + 1), first column 0.

    Parameters
    ----------
    cumulative_bits : array, shape (d, t + 1)
        Bits the link can have carried by the start of each step and by the end of the last.
        [bits at the IP layer]
    step_s : float
        Length of a step. [s]
    world : array of int, shape (d,)
        Rows with one number share the unknown parameters of the link.
    """

    cumulative_bits: "NDArray[np.float64]"
    step_s: float
    world: "NDArray[np.int32]"

    def __post_init__(self) -> None:
        positive("step_s", self.step_s)
        bits = np.ascontiguousarray(self.cumulative_bits, dtype=np.float64)
        world = np.ascontiguousarray(self.world, dtype=np.int32)
        if bits.ndim != 2 or bits.shape[0] < 1 or bits.shape[1] < 2:
            raise InputError(f"cumulative_bits: expected shape (d, t + 1), got {bits.shape}")
        if world.shape != (bits.shape[0],):
            raise InputError(f"world: expected shape ({bits.shape[0]},), got {world.shape}")
        if not np.isfinite(bits[:, -1]).all() or (bits[:, 0] != 0).any():
            raise InputError("cumulative_bits: expected finite numbers that start at 0 in each row")
        for name, array in (("cumulative_bits", bits), ("world", world)):
            array = array.view()
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @classmethod
    def from_rates(
        cls,
        rates_bps: "ArrayLike",
        step_s: float = 1.0,
        world: "ArrayLike | None" = None,
    ) -> Self:
        """Paths with known rates; one row if `rates_bps` has one axis.

        Parameters
        ----------
        rates_bps : array, shape (t,) or (d, t)
            IP-layer capacity in each step, >= 0. [bit/s]
        step_s : float
            Length of a step. [s]
        world : array of int, shape (d,), optional
            All rows in one world if not given.
        """
        rates = np.atleast_2d(non_negative_array("rates_bps", rates_bps))
        cumulative = np.zeros((rates.shape[0], rates.shape[1] + 1))
        np.cumsum(rates * positive("step_s", step_s), axis=1, out=cumulative[:, 1:])
        worlds = np.zeros(rates.shape[0]) if world is None else np.asarray(world)
        return cls(cumulative_bits=cumulative, step_s=step_s, world=worlds.astype(np.int32))

    @property
    def n_draws(self) -> int:
        """Number of futures, d."""
        return int(self.cumulative_bits.shape[0])

    @property
    def n_steps(self) -> int:
        """Number of steps before a path loops, t."""
        return int(self.cumulative_bits.shape[1]) - 1

    @property
    def horizon_s(self) -> float:
        """Time before a path loops. [s]"""
        return self.n_steps * self.step_s

    @property
    def rates_bps(self) -> "NDArray[np.float64]":
        """Rate in each step, shape (d, t). [bit/s]"""
        return np.diff(self.cumulative_bits, axis=1) / self.step_s

    @property
    def mean_rate_bps(self) -> float:
        """Mean over all paths and steps. [bit/s]"""
        return float(self.cumulative_bits[:, -1].mean()) / self.horizon_s

    def carried_bits(self, times_s: "ArrayLike", draws: "ArrayLike" = 0) -> "NDArray[np.float64]":
        """Bits that row `draws` can have carried by `times_s` (>= 0, may exceed the horizon).

        Linear inside a step. Both arguments broadcast against each other. [bits]
        """
        times, rows = np.broadcast_arrays(np.asarray(times_s, float), np.asarray(draws))
        loops: NDArray[np.float64] | None = None
        if times.size and times.max() >= self.horizon_s:  # the common case needs no division
            loops, times = np.divmod(times, self.horizon_s)
        position = times / self.step_s
        index = np.minimum(position.astype(np.int64), self.n_steps - 1)
        first = rows * (self.n_steps + 1)
        flat = self.cumulative_bits.reshape(-1)
        low = flat[first + index]
        high = flat[first + index + 1]
        bits = low + np.minimum(position - index, 1.0) * (high - low)
        if loops is None:
            return bits
        return loops * flat[first + self.n_steps] + bits

    def time_at_bits_s(self, bits: "ArrayLike", draws: "ArrayLike" = 0) -> "NDArray[np.float64]":
        """First time at which row `draws` has carried `bits` (>= 0), from the start of the path.

        The inverse of `carried_bits`; inf where the row carries nothing at all. [s]

        Notes
        -----
        `searchsorted` for one row; for many a bisection in all of them at once.
        """
        wanted, rows = np.broadcast_arrays(np.asarray(bits, float), np.asarray(draws))
        total = self.cumulative_bits[:, -1][rows]
        if not (wanted.size and (wanted > total).any()):  # the common case needs no division
            return self._time_in_first_round_s(wanted, rows)
        with np.errstate(divide="ignore", invalid="ignore"):
            loops = np.where(total > 0, np.floor(wanted / total), 0.0)
        rest = np.clip(wanted - loops * total, 0.0, total)
        # a full round is the end of the last step, not the start of the first
        ended = (rest == 0) & (loops > 0)
        loops = loops - ended
        rest = np.where(ended, total, rest)
        time = loops * self.horizon_s + self._time_in_first_round_s(rest, rows)
        return np.where(total > 0, time, np.where(wanted > 0, np.inf, 0.0))

    def _time_in_first_round_s(
        self, bits: "NDArray[np.float64]", rows: "NDArray[np.int_]"
    ) -> "NDArray[np.float64]":
        """First time at which each row has carried `bits`, none above the row's total. [s]"""
        index = self._step_index(bits, rows)
        flat = self.cumulative_bits.reshape(-1)
        at = rows * (self.n_steps + 1) + index
        low = flat[at]
        rise = flat[at + 1] - low
        inside = np.divide(bits - low, rise, out=np.zeros(np.shape(bits)), where=rise > 0)
        return (index + np.clip(inside, 0.0, 1.0)) * self.step_s

    def _step_index(
        self, bits: "NDArray[np.float64]", rows: "NDArray[np.int_]"
    ) -> "NDArray[np.int64]":
        """The step in which each row reaches `bits` for the first time."""
        if self.n_draws == 1:
            found = np.searchsorted(self.cumulative_bits[0], bits, side="left")
            return np.minimum(np.maximum(found - 1, 0), self.n_steps - 1)
        # bisection in all rows at once: 12 gathers for an hour of seconds, no copy of the paths;
        # all rows are as long, so that the part still open is as long in each of them
        flat = self.cumulative_bits.reshape(-1)
        first = np.asarray(rows, dtype=np.int64) * (self.n_steps + 1)
        at, n_open = first, self.n_steps + 1
        while n_open > 1:
            half = n_open >> 1
            at = at + half * (flat.take(at + (half - 1)) < bits)
            n_open -= half
        return np.clip(at - first - 1, 0, self.n_steps - 1)

    def scaled(self, share_frac: float) -> "CapacityPaths":
        """The same futures with `share_frac` of the capacity (a rate limit by share)."""
        return CapacityPaths(
            cumulative_bits=self.cumulative_bits * positive("share_frac", share_frac),
            step_s=self.step_s,
            world=self.world,
        )

    def limited(self, limit_bps: float) -> "CapacityPaths":
        """The same futures with no step faster than `limit_bps` (a throttle or rate limit)."""
        limit = positive("limit_bps", limit_bps)
        return CapacityPaths.from_rates(np.minimum(self.rates_bps, limit), self.step_s, self.world)
