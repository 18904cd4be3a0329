"""One transfer looked at among the others: its time, and how many users it can bear.

A transfer that starts at a random moment meets the link as it is in the long run (Poisson
arrivals see time averages). For processor sharing that state is known: the number of transfers
under way is geometric in the load, whatever their sizes, and each has an equilibrium remainder
left. So each probe starts in that state and needs no long history; a minute of the path before
it lets an outage leave the queue that it makes.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, fraction, positive
from linkfit.forecast.company import SETTLE_S, Company, Transfers, joined
from linkfit.forecast.priority import leave_clock_by_priority
from linkfit.forecast.sharing import BUSY_S, FlowClass, SharingResult, spread_rows
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

# transfers this much smaller than the probe come and go many times while it runs: to it they
# are a steady part of the capacity
MERGE_FRAC = 1 / 30
_LEAST_SHARE_FRAC = 0.02


@dataclass(frozen=True, slots=True)
class _Probes:
    """The transfers looked at: row, start, bits and time alone of each; shape (n,)."""

    row: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    alone_s: "NDArray[np.float64]"


def _probes(paths: CapacityPaths, tagged: FlowClass, n: int, rng: np.random.Generator) -> _Probes:
    """`n` transfers of the tagged class, spread evenly over the rows, at random moments."""
    row = spread_rows(paths, n)
    start = SETTLE_S + rng.random(n) * paths.horizon_s
    bits = tagged.median_bits * np.exp(math.log(tagged.spread) * rng.standard_normal(n))
    alone = paths.time_at_bits_s(paths.carried_bits(start, row) + bits, row) - start
    if tagged.cap_bps is not None:
        alone = np.maximum(alone, bits / tagged.cap_bps)
    return _Probes(row, start, bits, alone)


def _times_s(
    paths: CapacityPaths,
    probes: _Probes,
    which: "NDArray[np.int64]",
    company: Transfers,
    left_frac: float,
    *,
    low: bool,
) -> "NDArray[np.float64]":
    """Time of the probes `which` among `company` on a part of the capacity. [s]"""
    member = np.zeros(probes.row.size, np.bool_)
    member[which] = True
    near = member[company.probe]
    others = company.probe[near]
    probe = np.r_[which, others]
    start = np.r_[probes.start_s[which], probes.start_s[others] + company.after_s[near]]
    # a part of the capacity for all is the whole of it for larger transfers
    bits = np.r_[probes.bits[which], company.bits[near]] / left_frac
    waits = np.r_[np.full(which.size, low), company.low[near]]
    clock = paths.carried_bits(start, probes.row[probe])
    order = np.lexsort((start, probe))
    finish = np.empty(bits.size)
    finish[order] = leave_clock_by_priority(clock[order], bits[order], probe[order], waits[order])
    ends = paths.time_at_bits_s(finish[: which.size], probes.row[which])
    return np.maximum(ends - probes.start_s[which], probes.alone_s[which])


def _split(
    mean_rate_bps: float, tagged: FlowClass, classes: Sequence[FlowClass]
) -> tuple[float, list[FlowClass]]:
    """Share that the steady part of small and capped transfers leaves, and the others singly."""
    single, steady = [], 0.0
    for flow in classes:
        if not flow.load_bps or (flow.low_priority and not tagged.low_priority):
            continue
        if flow.cap_bps is not None or flow.mean_bits < MERGE_FRAC * tagged.mean_bits:
            steady += flow.load_bps
        else:
            single.append(flow)
    if not steady or not mean_rate_bps:
        return 1.0, single
    return max(1.0 - steady / mean_rate_bps, _LEAST_SHARE_FRAC), single


def _among(
    paths: CapacityPaths,
    probes: _Probes,
    tagged: FlowClass,
    single: Sequence[FlowClass],
    company: Company,
    left_frac: float,
    busy_s: float,
) -> "NDArray[np.float64]":
    """Time of each probe among the transfers of `single`, walked as far as each probe lasts. [s]"""
    n = probes.row.size
    time_s = np.full(n, np.inf)
    open_ = np.flatnonzero(np.isfinite(probes.alone_s))
    if not open_.size:
        return time_s
    parts = [company.present(single, left_frac * paths.mean_rate_bps, busy_s, n)]
    reached = np.full(n, -SETTLE_S)
    horizon = np.full(n, -SETTLE_S)
    horizon[open_] = np.minimum(2.0 * probes.alone_s[open_], busy_s)
    while open_.size:
        parts.append(company.arrivals(single, reached, horizon))
        time_s[open_] = _times_s(
            paths, probes, open_, joined(parts), left_frac, low=tagged.low_priority
        )
        reached[open_] = horizon[open_]
        # what starts after a probe has ended cannot have held it back
        open_ = open_[(time_s[open_] > reached[open_]) & (reached[open_] < busy_s)]
        horizon[open_] = np.minimum(2.0 * time_s[open_], busy_s)
    return time_s


def simulate_tagged(
    paths: CapacityPaths,
    tagged: FlowClass,
    classes: Sequence[FlowClass],
    *,
    rng: np.random.Generator,
    n_probes: int = 400,
    busy_s: float = BUSY_S,
    company: Company | None = None,
) -> SharingResult:
    """Transfers of one class, each met at a random moment among all `classes`.

    Parameters
    ----------
    paths : CapacityPaths
        Capacity of the direction at the IP layer.
    tagged : FlowClass
        What is looked at; its `arrivals_per_s` is not used.
    classes : sequence of FlowClass
        The load, with the tagged class's own share of it; may be empty.
    n_probes : int
        Number of transfers looked at, spread evenly over the rows.
    busy_s : float
        A load above the capacity has lasted for a part of this when the probe starts, and lasts
        this long after. [s]
    company : Company, optional
        The others around at least `n_probes` probes; drawn from `rng` if not given.

    Returns
    -------
    result : SharingResult
        `class_index` is 0 throughout.

    Notes
    -----
    The start is exact for a constant capacity; a capacity that varies is met through the minute
    before the probe. Transfers below a thirtieth of the probe's size, and those with a cap of
    their own, are taken off the capacity instead of walked one by one. With the same `rng` less
    load never gives a longer time. Cost: what is under way at the start, and what starts while
    the probe runs.

    Source
    ------
    F. P. Kelly, "Reversibility and Stochastic Networks", 1979, section 3.3: the stationary
    state of a processor-sharing queue (value from memory).
    """
    n = count("n_probes", n_probes)
    probe_rng, company_rng = rng.spawn(2)
    probes = _probes(paths, tagged, n, probe_rng)
    if company is None:
        company = Company(n, int(company_rng.integers(2**63)))
    left_frac, single = _split(paths.mean_rate_bps, tagged, classes)
    if single:
        time_s = _among(paths, probes, tagged, single, company, left_frac, busy_s)
    else:
        goal = paths.carried_bits(probes.start_s, probes.row) + probes.bits / left_frac
        ends = paths.time_at_bits_s(goal, probes.row)
        time_s = np.maximum(ends - probes.start_s, probes.alone_s)
    return SharingResult(
        class_index=np.zeros(n, np.int64),
        draw=probes.row,
        start_s=probes.start_s,
        bits=probes.bits,
        time_s=time_s,
        alone_s=probes.alone_s,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class UserLimit:
    """The largest number of users that still meets the target, and how sure it is.

    `n_low` and `n_high` hold for the fifth of the worlds with the least and with the most
    capacity; `at_limit` tells that the search stopped at its stated maximum, so the true number
    may be larger.
    """

    n_users: int
    n_low: int
    n_high: int
    at_limit: bool


def max_users(
    paths: CapacityPaths,
    tagged: FlowClass,
    per_user: Sequence[FlowClass],
    others: Sequence[FlowClass] = (),
    *,
    target_s: float,
    rng: np.random.Generator,
    level: float = 0.95,
    overhead_s: "ArrayLike" = 0.0,
    n_probes: int = 200,
    n_limit: int = 1000,
    busy_s: float = BUSY_S,
    company: Company | None = None,
) -> UserLimit:
    """The largest number of users for which the `level` quantile of time stays within the target.

    Parameters
    ----------
    paths : CapacityPaths
        Capacity of the direction at the IP layer.
    tagged : FlowClass
        The task whose time counts; its `arrivals_per_s` is not used.
    per_user : sequence of FlowClass
        What ONE user brings, the tagged task included.
    others : sequence of FlowClass
        Load that stays as it is.
    target_s : float
        Limit for the whole time. [s]
    level : float
        Share of transfers that must stay within the target.
    overhead_s : float or array, shape (n_probes,)
        Part of the time that sharing does not change (round trips, far end). [s]
    n_limit : int
        The search goes no higher.
    company : Company, optional
        The others around at least `n_probes` probes; drawn from `rng` if not given.

    Returns
    -------
    limit : UserLimit
        Zero users if the target is missed with one.

    Notes
    -----
    Doubling, then bisection to 5 %; every number of users is tried on the same probes.
    """
    n, top = count("n_probes", n_probes), count("n_limit", n_limit)
    positive("target_s", target_s)
    fraction("level", level)
    slack = np.broadcast_to(np.asarray(overhead_s, float), (n,))
    seed = int(rng.integers(2**63))
    others_around = Company(n, seed) if company is None else company

    def late(n_users: int) -> "NDArray[np.bool_]":
        mine = [replace(c, arrivals_per_s=c.arrivals_per_s * n_users) for c in per_user]
        result = simulate_tagged(
            paths, tagged, [*others, *mine],
            rng=np.random.default_rng(seed), n_probes=n, busy_s=busy_s,
            company=others_around,
        )  # fmt: skip
        return result.time_s + slack > target_s

    return largest_number(
        late, group=capacity_fifth(paths)[spread_rows(paths, n)], level=level, n_limit=top
    )


def largest_number(
    late: Callable[[int], "NDArray[np.bool_]"],
    *,
    group: "NDArray[np.int64]",
    level: float,
    n_limit: int,
) -> UserLimit:
    """The largest number for which at most ``1 - level`` of the probes are late.

    Parameters
    ----------
    late : callable
        From a number of users to a mark for each probe, shape (n,).
    group : array of int, shape (n,)
        Fifth of each probe by capacity; the first and the last tell how sure the number is.
        They are read off the numbers tried for all, so they are as coarse as those.
    """
    allowed = 1 - level + 1e-9
    tried: dict[int, NDArray[np.bool_]] = {}

    def fits(n_users: int) -> bool:
        tried[n_users] = late(n_users)
        return float(tried[n_users].mean()) <= allowed

    low, high = 0, 1
    while high < n_limit and fits(high):
        low, high = high, min(2 * high, n_limit)
    if high == n_limit and fits(n_limit):
        low, high = n_limit, n_limit + 1
    while high - low > max(1, 0.05 * low):
        middle = (low + high) // 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    by_group = [
        max((k for k, marks in tried.items() if marks[group == g].mean() <= allowed), default=0)
        for g in (int(group.min()), int(group.max()))
    ]
    return UserLimit(
        n_users=low,
        n_low=min(low, by_group[0]),
        n_high=max(low, by_group[1]),
        at_limit=low >= n_limit,
    )


def capacity_fifth(paths: CapacityPaths) -> "NDArray[np.int64]":
    """For each row, in which fifth of the worlds its own stands by mean capacity; 0 is least.

    Single worlds have too few probes for a 95th percentile of their own. Fewer than five worlds
    make as many groups as there are.
    """
    worlds, index = np.unique(paths.world, return_inverse=True)
    carried = np.bincount(index, paths.cumulative_bits[:, -1]) / np.bincount(index)
    rank = np.empty(worlds.size, np.int64)
    rank[np.argsort(carried, kind="stable")] = np.arange(worlds.size)
    fifth: NDArray[np.int64] = (rank * min(5, worlds.size) // worlds.size)[index]
    return fifth
