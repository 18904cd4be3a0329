"""A fixed number of users who think, ask, wait for the answer, and think again.

Against open arrivals the load yields: a user who waits asks nothing, so a slow link is asked
less. Transfers that start by chance, whoever waits, may share the link with them.
"""

import heapq
import math
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, positive
from linkfit.errors import InputError
from linkfit.forecast.sharing import FlowClass, SharingResult, share_capacity, spread_rows
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import NDArray

_WARM_FRAC = 0.2  # of the transfers of each row, not looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class UserClass:
    """Users of one kind: how many, mean pause between an answer and the next request [s], sizes.

    Sizes are lognormal at the IP layer: median [bits] and geometric standard deviation (>= 1).
    Pauses are exponential.
    """

    name: str
    n_users: int
    think_s: float
    median_bits: float
    spread: float = 1.0

    def __post_init__(self) -> None:
        count("n_users", self.n_users, least=0)
        positive("think_s", self.think_s)
        positive("median_bits", self.median_bits)
        if positive("spread", self.spread) < 1:
            raise InputError(
                f"spread: expected a geometric standard deviation >= 1, got {self.spread:g}"
            )


class _Clock:
    """One row of CapacityPaths as plain numbers: bits by a time, and the time of some bits."""

    def __init__(self, cumulative_bits: list[float], step_s: float) -> None:
        self.cumulative, self.step_s = cumulative_bits, step_s
        self.n_steps = len(cumulative_bits) - 1
        self.total = cumulative_bits[-1]

    def bits(self, time_s: float) -> float:
        loops, inside = divmod(time_s, self.n_steps * self.step_s)
        position = inside / self.step_s
        index = min(int(position), self.n_steps - 1)
        low, high = self.cumulative[index], self.cumulative[index + 1]
        return loops * self.total + low + (position - index) * (high - low)

    def time_s(self, bits: float) -> float:
        loops, rest = divmod(bits, self.total)
        index = max(bisect_left(self.cumulative, rest) - 1, 0)
        low, high = self.cumulative[index], self.cumulative[index + 1]
        inside = (rest - low) / (high - low) if high > low else 0.0
        return (loops * self.n_steps + index + inside) * self.step_s


def simulate_closed(
    paths: CapacityPaths,
    classes: Sequence[UserClass],
    *,
    rng: np.random.Generator,
    others: Sequence[FlowClass] = (),
    n_jobs: int = 4000,
    n_rows: int = 20,
) -> SharingResult:
    """Transfers of users who wait for each before the next, sharing the link equally.

    Parameters
    ----------
    paths : CapacityPaths
        Capacity of the direction at the IP layer.
    classes : sequence of UserClass
        Who is there.
    others : sequence of FlowClass
        Transfers that start by chance (Poisson) and share with the users; their caps and
        priority are not looked at. They are numbered after `classes` in the result.
    n_jobs : int
        Transfers in the result, all classes together.
    n_rows : int
        Rows of `paths` to spread them over, at most all; dead rows are left out.

    Returns
    -------
    result : SharingResult
        Transfers in the order they end, row by row.

    Raises
    ------
    InputError
        If there is no user, or no row carries anything.

    Notes
    -----
    Exact event by event on the clock of capacity; 3 us a transfer.
    """
    n_users = sum(c.n_users for c in classes)
    if not n_users:
        raise InputError("classes: expected at least one user, got 0")
    rows = [
        r for r in spread_rows(paths, min(n_rows, paths.n_draws)) if paths.cumulative_bits[r, -1]
    ]
    if not rows:
        raise InputError("paths: expected a row that carries something, got none")
    n_each = math.ceil(count("n_jobs", n_jobs) / len(rows))
    sources = _sources(classes, others)
    jobs = np.concatenate([_one_row(paths, int(row), sources, n_each, rng) for row in rows])
    index, draw = jobs[:, :2].T.astype(np.int64)
    start, bits, time_s = jobs[:, 2:].T
    alone = share_capacity(paths, start, bits, draws=draw, group_index=np.arange(bits.size))
    return SharingResult(
        class_index=index,
        draw=draw,
        start_s=start,
        bits=bits,
        time_s=np.maximum(time_s, alone),
        alone_s=alone,
    )


@dataclass(frozen=True, slots=True)
class _Source:
    """Who asks: a user, or what starts by chance and does not wait for an answer."""

    index: int
    pause_s: float
    median_bits: float
    sigma: float
    waits: bool


def _sources(classes: Sequence[UserClass], others: Sequence[FlowClass]) -> list[_Source]:
    """One source a user, one a flow."""
    users = [
        _Source(k, c.think_s, c.median_bits, math.log(c.spread), waits=True)
        for k, c in enumerate(classes)
        for _ in range(c.n_users)
    ]
    flows = [
        _Source(len(classes) + k, 1 / f.arrivals_per_s, f.median_bits, math.log(f.spread),
                waits=False)
        for k, f in enumerate(others)
        if f.arrivals_per_s > 0
    ]  # fmt: skip
    return users + flows


def _one_row(
    paths: CapacityPaths,
    row: int,
    sources: Sequence[_Source],
    n_jobs: int,
    rng: np.random.Generator,
) -> "NDArray[np.float64]":
    """Class, row, start, bits, time of the last `n_jobs` transfers of one row; shape (n, 5)."""
    clock = _Clock(paths.cumulative_bits[row].tolist(), paths.step_s)
    n_all = math.ceil(n_jobs / (1 - _WARM_FRAC))
    begin = float(rng.random()) * paths.horizon_s
    pauses, normals = _endless(rng.standard_exponential), _endless(rng.standard_normal)
    # waiting on the clock of bits, as the link serves: (bits by then, who, when)
    asking = []
    for who, one in enumerate(sources):
        when = begin + next(pauses) * one.pause_s
        asking.append((clock.bits(when), who, when))
    heapq.heapify(asking)
    present: list[tuple[float, int, float, float]] = []  # (virtual end, who, start, bits)
    done: list[tuple[int, int, float, float, float]] = []
    now_bits = virtual = 0.0
    while len(done) < n_all:
        ends_bits = now_bits + (present[0][0] - virtual) * len(present) if present else math.inf
        if asking and asking[0][0] <= ends_bits:
            there, who, now = heapq.heappop(asking)
            virtual = virtual + (there - now_bits) / len(present) if present else 0.0
            now_bits = there
            one = sources[who]
            bits = one.median_bits * math.exp(one.sigma * next(normals))
            heapq.heappush(present, (virtual + bits, who, now, bits))
            if one.waits:
                continue
        else:
            virtual, who, start, bits = heapq.heappop(present)
            now_bits, now = ends_bits, clock.time_s(ends_bits)
            one = sources[who]
            done.append((one.index, row, start, bits, now - start))
            if not one.waits:
                continue
        when = now + next(pauses) * one.pause_s
        heapq.heappush(asking, (clock.bits(when), who, when))
    return np.array(done[-n_jobs:])


def _endless(draw: Callable[[int], "NDArray[np.float64]"]) -> Iterator[float]:
    """Numbers of `draw` one by one."""
    while True:
        yield from draw(1024).tolist()
