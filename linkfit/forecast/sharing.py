"""Many transfers at once on one direction of the link: egalitarian processor sharing.

All transfers in progress get equal parts of the capacity that CapacityPaths has at that moment.
Without per-flow caps this is exact and cheap: on the clock that counts bits the link could have
carried, the capacity is 1 and a transfer of x bits leaves when the virtual time (bits that each
transfer present got so far) has grown by x. Caps of single flows need the water level instead
(`linkfit.forecast.capped`).
"""

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, frozen_array, non_negative, positive, show
from linkfit.errors import InputError
from linkfit.forecast.capped import capped_finish_s
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

BUSY_S = 3600.0  # the busy hour: load lasts this long at most before the transfer looked at
_WARM_FACTOR = 3.0  # times the mean remaining busy period; the tests compare with M/G/1-PS


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
        Time the same transfer at the same start would have taken alone. [s]
    """

    class_index: "NDArray[np.int64]"
    draw: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    time_s: "NDArray[np.float64]"
    alone_s: "NDArray[np.float64]"

    def __post_init__(self) -> None:
        for name in ("class_index", "draw", "start_s", "bits", "time_s", "alone_s"):
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
        )


def share_capacity(
    paths: CapacityPaths,
    starts_s: "ArrayLike",
    bits: "ArrayLike",
    *,
    draws: "ArrayLike" = 0,
    group_index: "ArrayLike | None" = None,
    caps_bps: "ArrayLike | None" = None,
) -> "NDArray[np.float64]":
    """Time each transfer takes when all of one group share the capacity equally. [s]

    Parameters
    ----------
    paths : CapacityPaths
        Capacity at the IP layer; rows loop.
    starts_s, bits : array, shape (n,)
        Start [s, >= 0] and size [bits, > 0] of each transfer.
    draws : array of int, shape (n,)
        Row each transfer runs on; broadcasts.
    group_index : array of int, shape (n,), optional
        Transfers share with those of their own group only; `draws` if not given.
    caps_bps : array, shape (n,), optional
        Most that one transfer can use; inf for no limit. [bit/s]

    Returns
    -------
    time_s : array, shape (n,)
        From start to last bit; inf where the row never carries it. [s]

    Raises
    ------
    InputError
        If a size is not above 0 or a start is negative.

    Notes
    -----
    O(n log n) in the number of transfers, whatever the length of the paths. With caps that
    bind, O(steps in which something runs) instead.

    Source
    ------
    L. Kleinrock, "Time-shared systems: a theoretical treatment", J. ACM 14(2), 242-261, 1967,
    doi:10.1145/321386.321388 (the discipline).
    """
    start, size, row = np.broadcast_arrays(
        np.asarray(starts_s, float), np.asarray(bits, float), np.asarray(draws, np.int64)
    )
    if size.size and not (size.min() > 0 and start.min() >= 0 and np.isfinite(size).all()):
        raise InputError(
            "transfers: expected starts >= 0 and finite sizes > 0, "
            f"got a start of {start.min():g} s and a size of {size.min():g} bits"
        )
    group = (
        row
        if group_index is None
        else np.broadcast_to(np.asarray(group_index, np.int64), row.shape)
    )
    if caps_bps is not None:
        caps = np.broadcast_to(np.asarray(caps_bps, float), row.shape)
        if (caps < float(paths.rates_bps.max())).any():
            return capped_finish_s(paths, start, size, row, group, caps) - start
    clock_bits = paths.carried_bits(start, row)
    order = np.lexsort((start, group))
    finish = np.empty(size.shape)
    finish[order] = leave_clock(clock_bits[order], size[order], group[order])
    # rounding apart, sharing is never faster than being alone
    return (
        np.maximum(paths.time_at_bits_s(finish, row), paths.time_at_bits_s(clock_bits + size, row))
        - start
    )


def leave_clock(
    clock_bits: "NDArray[np.float64]", size_bits: "NDArray[np.float64]", group: "NDArray[np.int64]"
) -> "NDArray[np.float64]":
    """Reading of the capacity clock at which each transfer leaves; sorted by group, then clock.

    The groups are laid end to end, far enough apart that each has ended when the next begins,
    so that one loop serves all of them.
    """
    if not size_bits.size:
        return np.empty(0)
    shift = end_to_end(clock_bits, size_bits, group)
    leaves = processor_sharing((clock_bits + shift).tolist(), size_bits.tolist())
    return np.asarray(leaves) - shift


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


def warm_up_s(paths: CapacityPaths, classes: Sequence[FlowClass], busy_s: float = BUSY_S) -> float:
    """Time after which a link that starts idle looks like one that has been shared for long. [s]

    Three times the mean remaining busy period E[S^2] / (2 E[S] (1 - rho)^2) of M/G/1, and
    `busy_s` at most: a busy hour does not last for ever, so a load above the capacity gives
    long times, not infinite ones.
    """
    mean_rate = paths.mean_rate_bps
    work = sum(c.load_bps for c in classes)
    if not work or not mean_rate:
        return 0.0
    squares = sum(
        c.arrivals_per_s * c.mean_bits**2 * math.exp(math.log(c.spread) ** 2) for c in classes
    )
    slack = 1.0 - work / mean_rate
    if slack <= 0:
        return busy_s
    return min(busy_s, _WARM_FACTOR * squares / (2 * work * mean_rate * slack**2))


def _draw_bits(
    classes: Sequence[FlowClass], index: "NDArray[np.int64]", rng: np.random.Generator
) -> "NDArray[np.float64]":
    """A size for each transfer, from the law of its class."""
    median = np.array([c.median_bits for c in classes])
    sigma = np.log([c.spread for c in classes])
    return median[index] * np.exp(sigma[index] * rng.standard_normal(index.size))


def _caps(classes: Sequence[FlowClass], index: "NDArray[np.int64]") -> "NDArray[np.float64] | None":
    """Cap of each transfer, None where no class has one."""
    if all(c.cap_bps is None for c in classes):
        return None
    return np.array([math.inf if c.cap_bps is None else c.cap_bps for c in classes])[index]


def spread_rows(paths: CapacityPaths, n: int) -> "NDArray[np.int64]":
    """`n` rows of `paths`, the worlds in turn, so that each world gets its part of them."""
    order = np.argsort(paths.world, kind="stable")
    world = paths.world[order]
    first = np.searchsorted(world, world)
    turns = order[np.lexsort((world, np.arange(world.size) - first))]
    return turns[np.arange(n) % turns.size]


def simulate_sharing(
    paths: CapacityPaths,
    classes: Sequence[FlowClass],
    *,
    rng: np.random.Generator,
    n_jobs: int = 4000,
    busy_s: float = BUSY_S,
) -> SharingResult:
    """Transfers of all classes that start by chance (Poisson) and share the link equally.

    Parameters
    ----------
    paths : CapacityPaths
        Capacity of the direction at the IP layer.
    classes : sequence of FlowClass
        What starts, how often, how large.
    rng : numpy.random.Generator
        Source of the arrivals and sizes.
    n_jobs : int
        Mean number of transfers in the result, all classes together, by their rates.
    busy_s : float
        Longest warm-up; with a load above the capacity this decides the result. [s]

    Returns
    -------
    result : SharingResult
        About `n_jobs` transfers; a class that starts seldom has few (see `simulate_tagged`).

    Raises
    ------
    InputError
        If no class ever starts.

    Notes
    -----
    Each row in use starts idle at a random place, warms up, and goes on for as long after the
    part looked at, so that its last transfers still meet new ones. 0.5 us a transfer.
    """
    wanted = count("n_jobs", n_jobs)
    rate = np.array([c.arrivals_per_s for c in classes])
    total = float(rate.sum()) if rate.size else 0.0
    if total <= 0:
        raise InputError(f"classes: expected arrivals in at least one, got {total:g} per second")
    warm = warm_up_s(paths, classes, busy_s)
    # at least twice the warm-up is looked at on each row, so that warming is not most of the work
    n_rows = int(np.clip(wanted / total / max(2 * warm, 1e-9), 1, min(paths.n_draws, wanted)))
    rows = spread_rows(paths, n_rows)
    look_s = wanted / total / n_rows
    n_each = rng.poisson(total * (look_s + 2 * warm), n_rows)
    row = np.repeat(rows, n_each)
    since = rng.random(row.size) * (look_s + 2 * warm)
    index = rng.choice(rate.size, row.size, p=rate / total)
    start = np.repeat(rng.random(n_rows) * paths.horizon_s, n_each) + since
    bits = _draw_bits(classes, index, rng)
    time_s = share_capacity(paths, start, bits, draws=row, caps_bps=_caps(classes, index))
    keep = (since >= warm) & (since < warm + look_s)
    index, row, start, bits = index[keep], row[keep], start[keep], bits[keep]
    one_each = np.arange(row.size)
    alone_s = share_capacity(
        paths, start, bits, draws=row, group_index=one_each, caps_bps=_caps(classes, index)
    )
    return SharingResult(
        class_index=index,
        draw=row,
        start_s=start,
        bits=bits,
        time_s=np.maximum(time_s[keep], alone_s),
        alone_s=alone_s,
    )
