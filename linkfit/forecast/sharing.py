"""Many transfers at once on one direction of the link: egalitarian processor sharing.

All transfers in progress get equal parts of the capacity that CapacityPaths has at that moment.
This is exact and cheap: on the clock that counts bits the link could have carried, the capacity
is 1 and a transfer of x bits leaves when the virtual time (bits that each transfer present got so
far) has grown by x. Caps of single flows need more (`linkfit.forecast.capped`).

Source
------
L. Kleinrock, "Time-shared systems: a theoretical treatment", J. ACM 14(2), 242-261, 1967,
doi:10.1145/321386.321388 (the discipline).
"""

import heapq
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import frozen_array, non_negative, positive, show
from linkfit.errors import InputError
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import NDArray

BUSY_S = 3600.0  # the busy hour: load lasts this long at most before the transfer looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowClass:
    """Transfers of one kind: how often they start and how many bits they bring.

    Sizes are lognormal at the IP layer: median [bits] and geometric standard deviation (>= 1).
    `cap_bps` is the far end's own limit on each transfer [bit/s], None for none. Transfers of
    low priority get what all others leave. `n_sources` users wait for one before the next, so
    that no more of them heap up; None for any number. `mean_bits` is exp(mu + sigma^2 / 2) of
    the sizes.
    """

    name: str
    arrivals_per_s: float
    median_bits: float
    spread: float = 1.0
    cap_bps: float | None = None
    low_priority: bool = False
    n_sources: int | None = None
    mean_bits: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        non_negative("arrivals_per_s", self.arrivals_per_s)
        positive("median_bits", self.median_bits)
        if positive("spread", self.spread) < 1:
            raise InputError(
                f"spread: expected a geometric standard deviation >= 1, got {show(self.spread)}"
            )
        if self.cap_bps is not None:
            positive("cap_bps", self.cap_bps)
        mean_bits = self.median_bits * math.exp(math.log(self.spread) ** 2 / 2)
        object.__setattr__(self, "mean_bits", mean_bits)

    @property
    def load_bps(self) -> float:
        """Mean rate that these transfers ask for together. [bit/s]"""
        return self.arrivals_per_s * self.mean_bits


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SharingResult:
    """What happened to each transfer looked at; all arrays have shape (n,).

    Parameters
    ----------
    class_index : array of int
        Which of `classes` the transfer belongs to.
    draw : array of int
        Row of the CapacityPaths it ran on.
    start_s, time_s : array of float
        Start on the path's clock, and time until its last bit was carried; inf on a dead path. [s]
    bits : array of float
        Its size at the IP layer. [bits]
    alone_s : array of float
        Time the same transfer at the same start would have taken without other transfers, beside
        the streams that run then. [s]
    free_s : array of float
        That with nothing beside it at all, for as long as it takes. [s]
    """

    class_index: "NDArray[np.int64]"
    draw: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    time_s: "NDArray[np.float64]"
    alone_s: "NDArray[np.float64]"
    free_s: "NDArray[np.float64]"

    def __post_init__(self) -> None:
        for name in ("class_index", "draw", "start_s", "bits", "time_s", "alone_s", "free_s"):
            object.__setattr__(self, name, frozen_array(getattr(self, name)))

    @property
    def added_s(self) -> "NDArray[np.float64]":
        """What the company cost: time_s - alone_s, >= 0 (0 where both are inf). [s]"""
        dead = np.isinf(self.alone_s)
        return np.where(dead, 0.0, self.time_s - np.where(dead, 0.0, self.alone_s))

    def of_class(self, index: int) -> "SharingResult":
        """Only the transfers of class `index`."""
        keep = self.class_index == index
        return SharingResult(
            class_index=self.class_index[keep],
            draw=self.draw[keep],
            start_s=self.start_s[keep],
            bits=self.bits[keep],
            time_s=self.time_s[keep],
            alone_s=self.alone_s[keep],
            free_s=self.free_s[keep],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beside:
    """Streams beside each transfer looked at and its company, for as long as it runs; shape (n,).

    Parameters
    ----------
    live_frac : array
        Share of the capacity that live streams take, whatever the others need; below 1.
    taken_frac : array
        Share of the rest that the other streams take where nobody presses.
    n_streams : array
        How many those are: pressed, each gets what a transfer gets.
    """

    live_frac: "NDArray[np.float64]"
    taken_frac: "NDArray[np.float64]"
    n_streams: "NDArray[np.float64]"

    @property
    def own_frac(self) -> "NDArray[np.float64]":
        """Share of the capacity that a lone transfer has."""
        fair = 1.0 / (1.0 + self.n_streams)
        return (1.0 - self.live_frac) * np.maximum(1.0 - self.taken_frac, fair)

    def factors(self) -> "NDArray[np.float64]":
        """For `sharing_beside`, shape (n, 3): a, b, c.

        m transfers have the share max(1 - taken, m / (m + n_streams)) together, so that each
        gets, in units of what a lone one has, one over ``min(a m, b m + c)``.
        """
        left = 1.0 - self.taken_frac
        own = np.maximum(left, 1.0 / (1.0 + self.n_streams))
        a = np.divide(own, left, out=np.full(left.size, np.inf), where=left > 0)
        return np.column_stack([a, own, own * self.n_streams])


def leave_clock(
    clock_bits: "NDArray[np.float64]",
    size_bits: "NDArray[np.float64]",
    group: "NDArray[np.int64]",
    factors: "NDArray[np.float64] | None" = None,
) -> "NDArray[np.float64]":
    """Reading of the capacity clock at which each transfer leaves; sorted by group, then clock.

    The groups are laid end to end, far enough apart that each has ended when the next begins,
    so that one loop serves all of them. `factors` are those of `Beside`, of each transfer.
    """
    if not size_bits.size:
        return np.empty(0)
    shift = end_to_end(clock_bits, size_bits, group)
    leaves = shared((clock_bits + shift).tolist(), size_bits.tolist(), factors)
    return np.asarray(leaves) - shift


def shared(
    arrive: list[float], size: list[float], factors: "NDArray[np.float64] | None"
) -> list[float]:
    """Departures, with streams beside or without."""
    if factors is None:
        return processor_sharing(arrive, size)
    return sharing_beside(arrive, size, factors.tolist())


def end_to_end(
    clock_bits: "NDArray[np.float64]", size_bits: "NDArray[np.float64]", group: "NDArray[np.int64]"
) -> "NDArray[np.float64]":
    """What to add to each clock reading so that the groups follow each other. [bits]"""
    lasts = np.append(np.flatnonzero(group[1:] != group[:-1]), group.size - 1)
    firsts = np.append(0, lasts[:-1] + 1)
    room = clock_bits[lasts] - clock_bits[firsts] + np.add.reduceat(size_bits, firsts) + 1.0
    base = _before(np.cumsum(room)) - clock_bits[firsts]
    return np.repeat(base, lasts - firsts + 1)


def _before(cumulative: "NDArray[np.float64]") -> "NDArray[np.float64]":
    """Running sums without the last term of each."""
    before = np.empty(cumulative.size)
    before[0], before[1:] = 0.0, cumulative[:-1]
    return before


def busy_periods(
    clock_bits: "NDArray[np.float64]", size_bits: "NDArray[np.float64]", group: "NDArray[np.int64]"
) -> "NDArray[np.int64]":
    """Number of the busy period in which each transfer falls; sorted by group, then clock.

    Between two of them nothing is under way, so no transfer is felt outside its own.
    """
    if not size_bits.size:
        return np.empty(0, np.int64)
    clock = clock_bits + end_to_end(clock_bits, size_bits, group)
    # a transfer meets an idle link if all before it could have been carried by then
    slack = clock - _before(np.cumsum(size_bits))
    begins = slack[1:] > np.maximum.accumulate(slack)[:-1]
    return np.append(0, np.cumsum(begins))


def processor_sharing(arrive: list[float], size: list[float]) -> list[float]:
    """Departures from a unit-rate server shared equally; `arrive` does not decrease."""
    leave = [0.0] * len(arrive)
    present: list[tuple[float, int]] = []  # (virtual time at which it leaves, which)
    push, pop = heapq.heappush, heapq.heappop
    now = virtual = 0.0
    for index, arrival in enumerate(arrive):
        while present:
            goal, first = present[0]
            ends = now + (goal - virtual) * len(present)
            if ends > arrival:
                virtual += (arrival - now) / len(present)
                break
            pop(present)
            now, virtual = ends, goal
            leave[first] = ends
        else:
            virtual = 0.0  # an empty server may forget: keeps the sum small
        now = arrival
        push(present, (virtual + size[index], index))
    while present:
        goal, first = pop(present)
        now += (goal - virtual) * (len(present) + 1)
        virtual = goal
        leave[first] = now
    return leave


def sharing_beside(
    arrive: list[float], size: list[float], factors: list[list[float]]
) -> list[float]:
    """As `processor_sharing`, where each of n gets one over ``min(a n, b n + c)``.

    The factors a, b, c are those of the transfer that came last, the same for all that can meet.
    """
    leave = [0.0] * len(arrive)
    present: list[tuple[float, int]] = []  # (virtual time at which it leaves, which)
    push, pop = heapq.heappush, heapq.heappop
    now = virtual = 0.0
    a = b = c = 0.0
    for index, arrival in enumerate(arrive):
        while present:
            goal, first = present[0]
            n = len(present)
            each = min(a * n, b * n + c)
            ends = now + (goal - virtual) * each
            if ends > arrival:
                virtual += (arrival - now) / each
                break
            pop(present)
            now, virtual = ends, goal
            leave[first] = ends
        else:
            virtual = 0.0  # an empty server may forget: keeps the sum small
        now = arrival
        a, b, c = factors[index]
        push(present, (virtual + size[index], index))
    while present:
        goal, first = pop(present)
        n = len(present) + 1
        now += (goal - virtual) * min(a * n, b * n + c)
        virtual = goal
        leave[first] = now
    return leave


def spread_rows(paths: CapacityPaths, n: int) -> "NDArray[np.int64]":
    """`n` rows of `paths`, the worlds in turn, so that each world gets its part of them."""
    order = np.argsort(paths.world, kind="stable")
    world = paths.world[order]
    first = np.searchsorted(world, world)
    turns = order[np.lexsort((world, np.arange(world.size) - first))]
    return turns[np.arange(n) % turns.size]
