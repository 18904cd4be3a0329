"""Futures longer than those drawn: rows of one world, joined end to end, with their breaks.

A transfer that starts again and again may need days, and futures in steps of a second are drawn
for hours. A long path goes on in another row of its world, chosen by chance, so that it does not
meet the same outage in every round as a looping row would.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from linkfit._checks import count, positive

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from linkfit.link.paths import CapacityPaths

_DEAD_BPS = 1.0  # less than this carries nothing
_MOST_ROWS = 12  # joined before a long path starts again


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LongPaths:
    """Joined rows of `paths`: long path `i` runs through the rows `order[i]` and then again.

    Parameters
    ----------
    paths : CapacityPaths
        The rows.
    order : array of int, shape (n, s)
        Rows of each long path.
    starts_s : array, shape (n,)
        Where on the long path its transfer starts. [s]
    breaks_s : array, shape (b,)
        Moments at which an outage breaks connections, those of long path `i` moved up by `i`
        rounds; sorted. [s]
    """

    paths: "CapacityPaths"
    order: "NDArray[np.int64]"
    starts_s: "NDArray[np.float64]"
    breaks_s: "NDArray[np.float64]"

    @classmethod
    def join(
        cls, paths: "CapacityPaths", *, n_draws: int, timeout_s: float, rng: "Generator"
    ) -> Self:
        """`n_draws` long paths, each from a random moment of a random row of its world.

        An outage of more than `timeout_s` breaks connections `timeout_s` after it began. [s]
        """
        n_draws = count("n_draws", n_draws)
        timeout_s = positive("timeout_s", timeout_s)
        own = np.arange(n_draws) % paths.n_draws
        worlds, counts = np.unique(paths.world, return_counts=True)
        n_rows = int(min(counts.max(), _MOST_ROWS))
        members = {int(w): np.flatnonzero(paths.world == w) for w in worlds}
        order = np.empty((n_draws, n_rows), dtype=np.int64)
        for i, row in enumerate(own):
            others = rng.permutation(members[int(paths.world[row])])
            order[i] = np.resize(np.concatenate(([row], others[others != row])), n_rows)
        return cls(
            paths=paths,
            order=order,
            starts_s=rng.uniform(0.0, paths.horizon_s, n_draws),
            breaks_s=_joined_breaks_s(paths, order, timeout_s),
        )

    @property
    def n_draws(self) -> int:
        """Number of long paths."""
        return int(self.order.shape[0])

    @property
    def round_s(self) -> float:
        """Length of a long path before it starts again. [s]"""
        return self.order.shape[1] * self.paths.horizon_s

    @property
    def world(self) -> "NDArray[np.int32]":
        """World of each long path."""
        return self.paths.world[self.order[:, 0]]

    def on(self, paths: "CapacityPaths") -> Self:
        """The same moments and breaks on other rates of the same rows."""
        return replace(self, paths=paths)

    def carried_bits(
        self, times_s: "NDArray[np.float64]", draws: "NDArray[np.int_]"
    ) -> "NDArray[np.float64]":
        """Bits that long path `draws` can have carried by `times_s`; both of one shape. [bits]"""
        ends_bits = self._ends_bits()
        which = np.floor(times_s / self.paths.horizon_s).astype(np.int64)
        loops, segment = np.divmod(which, self.order.shape[1])
        inside_s = np.maximum(times_s - which * self.paths.horizon_s, 0.0)
        before_bits = ends_bits[draws, segment] + loops * ends_bits[draws, -1]
        return before_bits + self.paths.carried_bits(inside_s, self.order[draws, segment])

    def time_at_bits_s(
        self, bits: "NDArray[np.float64]", draws: "NDArray[np.int_]"
    ) -> "NDArray[np.float64]":
        """First time at which long path `draws` has carried `bits`; inf if it carries none. [s]"""
        ends_bits = self._ends_bits()
        total = ends_bits[draws, -1]
        with np.errstate(divide="ignore", invalid="ignore"):
            loops = np.where(total > 0, np.floor(bits / total), 0.0)
        rest = np.clip(bits - loops * total, 0.0, total)
        # a full round is the end of the last row, not the start of the first
        ended = (rest == 0) & (loops > 0)
        loops, rest = loops - ended, np.where(ended, total, rest)
        inner = ends_bits[draws, 1:-1]
        segment = (inner < rest[..., None]).sum(axis=-1)
        row_bits = np.maximum(rest - ends_bits[draws, segment], 0.0)
        inside_s = self.paths.time_at_bits_s(row_bits, self.order[draws, segment])
        time_s = loops * self.round_s + segment * self.paths.horizon_s + inside_s
        return np.where(total > 0, time_s, np.inf)

    def next_break_s(
        self, times_s: "NDArray[np.float64]", draws: "NDArray[np.int_]"
    ) -> "NDArray[np.float64]":
        """First moment after `times_s` at which an outage breaks connections; inf if none. [s]"""
        loops = np.floor(times_s / self.round_s)
        inside_s = times_s - loops * self.round_s
        first_s = draws * self.round_s
        index = np.searchsorted(self.breaks_s, first_s + inside_s, side="right")
        start = np.searchsorted(self.breaks_s, first_s, side="right")
        end = np.searchsorted(self.breaks_s, first_s + self.round_s, side="right")
        padded = np.append(self.breaks_s, np.inf)
        later_s = padded[index] - first_s
        again_s = padded[start] - first_s + self.round_s
        next_s = np.where(index < end, later_s, again_s)
        return np.where(start < end, loops * self.round_s + next_s, np.inf)

    def _ends_bits(self) -> "NDArray[np.float64]":
        """Bits carried by the end of each row of each long path, 0 first; shape (n, s + 1)."""
        totals = self.paths.cumulative_bits[:, -1][self.order]
        ends = np.zeros((totals.shape[0], totals.shape[1] + 1))
        np.cumsum(totals, axis=1, out=ends[:, 1:])
        return ends


def outages(paths: "CapacityPaths") -> "tuple[NDArray[np.int64], NDArray[Any], NDArray[Any]]":
    """Row, begin [s] and length [s] of every stretch that carries nothing, in order."""
    dead = np.zeros((paths.n_draws, paths.n_steps + 2), dtype=np.int8)
    dead[:, 1:-1] = paths.rates_bps < _DEAD_BPS
    edge = np.diff(dead, axis=1)
    row, begin = np.nonzero(edge == 1)
    _, end = np.nonzero(edge == -1)
    return row, begin * paths.step_s, (end - begin) * paths.step_s


def _joined_breaks_s(
    paths: "CapacityPaths", order: "NDArray[np.int64]", timeout_s: float
) -> "NDArray[np.float64]":
    """When outages longer than `timeout_s` break connections of each long path, sorted. [s]"""
    row, begin_s, length_s = outages(paths)
    long = length_s > timeout_s
    row, at_s = row[long], begin_s[long] + timeout_s
    first = np.searchsorted(row, np.arange(paths.n_draws + 1))
    flat = order.reshape(-1)
    counts = first[flat + 1] - first[flat]
    place = np.repeat(np.arange(flat.size), counts)
    within = np.arange(place.size) - np.repeat(np.cumsum(counts) - counts, counts)
    return place * paths.horizon_s + at_s[first[flat[place]] + within]
