"""One transfer looked at among the others: its time.

A transfer that starts at a random moment meets the link as it is in the long run (Poisson
arrivals see time averages). For processor sharing that state is known: the number of transfers
under way is geometric in the load, whatever their sizes, and each has an equilibrium remainder
left. So each probe starts in that state and needs no long history; a minute of the path before
it lets an outage leave the queue that it makes.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.forecast.capped import capped_sharing
from linkfit.forecast.company import SETTLE_S, Company, Transfers, joined
from linkfit.forecast.priority import leave_clock_by_priority
from linkfit.forecast.sharing import (
    BUSY_S,
    Beside,
    FlowClass,
    SharingResult,
    busy_periods,
    spread_rows,
)
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import NDArray

# transfers this much smaller than the probe come and go many times while it runs: to it they
# are a steady part of the capacity
MERGE_FRAC = 1 / 30
_LEAST_SHARE_FRAC = 0.02
# a transfer that meets more others than this meets their mean load from then on
_MOST_AROUND = 500.0


@dataclass(frozen=True, slots=True)
class _Probes:
    """The transfers looked at: row, start, bits and times alone of each; shape (n,)."""

    row: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    alone_s: "NDArray[np.float64]"
    free_s: "NDArray[np.float64]"


@dataclass(frozen=True, slots=True)
class _Share:
    """Of the capacity, what a transfer and those walked with it have as its time goes on.

    While they are walked `walked_frac`, from `walk_s` after its start `rest_frac` for it alone,
    and `after_factor` once the busy hour has ended, at `busy_s`. The first two for each probe.
    """

    walked_frac: "NDArray[np.float64]"
    walk_s: float
    rest_frac: "NDArray[np.float64]"
    busy_s: float
    after_factor: float

    def times_s(
        self,
        paths: CapacityPaths,
        start_s: "NDArray[np.float64]",
        row: "NDArray[np.int64]",
        goal_bits: "NDArray[np.float64]",
        which: "NDArray[np.int64]",
    ) -> "NDArray[np.float64]":
        """Time of the probes `which` until the clock reads `goal_bits` of an endless walk. [s]"""
        time_s = paths.time_at_bits_s(goal_bits, row) - start_s
        late = np.flatnonzero(time_s > self.walk_s)
        if not late.size:
            return time_s
        begin, row = start_s[late], row[late]
        walked = paths.carried_bits(begin + self.walk_s, row)
        busy = paths.carried_bits(begin + self.busy_s, row)
        rest_frac = self.rest_frac[which[late]]
        left = (goal_bits[late] - walked) * self.walked_frac[which[late]]
        within = (busy - walked) * rest_frac
        goal = np.where(
            left < within,
            walked + left / rest_frac,
            busy + (left - within) / self.after_factor,
        )
        time_s[late] = paths.time_at_bits_s(goal, row) - begin
        return time_s


def _probes(
    paths: CapacityPaths, tagged: FlowClass, rng: np.random.Generator, share: _Share
) -> _Probes:
    """Transfers of the tagged class, spread evenly over the rows, at random moments."""
    n = share.walked_frac.size
    row = spread_rows(paths, n)
    start = SETTLE_S + rng.random(n) * paths.horizon_s
    bits = tagged.median_bits * np.exp(math.log(tagged.spread) * rng.standard_normal(n))
    clock = paths.carried_bits(start, row)
    free = paths.time_at_bits_s(clock + bits, row) - start
    goal = clock + bits / share.walked_frac
    alone = share.times_s(paths, start, row, goal, np.arange(n))
    if tagged.cap_bps is not None:
        held = paths.limited(tagged.cap_bps)
        capped = held.time_at_bits_s(held.carried_bits(start, row) + bits, row) - start
        free, alone = np.maximum(free, capped), np.maximum(alone, capped)
    return _Probes(row, start, bits, alone, free)


@dataclass(frozen=True, slots=True)
class _Around:
    """What probes of one kind meet; see `simulate_tagged` for the parts."""

    low_priority: bool
    cap_bps: float
    flows: Sequence[FlowClass]
    company: Company
    mean_rate_bps: float
    share: _Share
    factors: "NDArray[np.float64] | None"


def _times_s(
    paths: CapacityPaths,
    probes: _Probes,
    which: "NDArray[np.int64]",
    company: Transfers,
    around: _Around,
) -> "NDArray[np.float64]":
    """Time of the probes `which` among `company` on a part of the capacity. [s]"""
    share = around.share
    member = np.zeros(probes.row.size, np.bool_)
    member[which] = True
    near = member[company.probe]
    others = company.probe[near]
    both = np.concatenate
    probe = both((which, others))
    start = both((probes.start_s[which], probes.start_s[others] + company.after_s[near]))
    # a part of the capacity for all is the whole of it for larger transfers
    bits = both((probes.bits[which], company.bits[near])) / share.walked_frac[probe]
    waits = both((np.full(which.size, around.low_priority), company.low[near]))
    clock = paths.carried_bits(start, probes.row[probe])
    caps_bps = both((np.full(which.size, around.cap_bps), company.cap_bps[near]))
    cap_frac = None
    if np.isfinite(caps_bps).any():
        mean_bps = _mean_around_bps(paths, probes) * share.walked_frac
        cap_frac = np.minimum(caps_bps / mean_bps[probe], 1.0)
    order = np.lexsort((start, probe))
    # as long as a transfer under its cap lasts alone, it is felt
    longest = bits if cap_frac is None else bits / cap_frac
    order = order[_felt(clock[order], longest[order], probe[order], order < which.size)]
    finish = clock + bits  # of those that meet nobody
    order = order[_met(probe[order])]
    clock, bits, probe, waits = clock[order], bits[order], probe[order], waits[order]
    if cap_frac is None:
        factors = None if around.factors is None else around.factors[probe]
        finish[order] = leave_clock_by_priority(clock, bits, probe, waits, factors)
    else:
        finish[order] = _leave_clock_by_caps(clock, bits, probe, waits, cap_frac[order])
    goal = finish[: which.size]
    time_s = share.times_s(paths, probes.start_s[which], probes.row[which], goal, which)
    return np.maximum(time_s, probes.alone_s[which])


def _mean_around_bps(paths: CapacityPaths, probes: _Probes) -> "NDArray[np.float64]":
    """Mean capacity from the minute before each probe to where it ended alone. [bit/s]"""
    begin = probes.start_s - SETTLE_S
    end = probes.start_s + np.where(np.isfinite(probes.alone_s), probes.alone_s, 0.0)
    carried = paths.carried_bits(end, probes.row) - paths.carried_bits(begin, probes.row)
    return np.asarray(np.maximum(carried / (end - begin), 1.0))


def _leave_clock_by_caps(
    clock_bits: "NDArray[np.float64]",
    bits: "NDArray[np.float64]",
    probe: "NDArray[np.int64]",
    low: "NDArray[np.bool_]",
    cap_frac: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Reading of the clock at which each transfer leaves; sorted by probe, then clock.

    One by one only around those probes that a cap is felt at.
    """
    leaves = np.empty(clock_bits.size)
    has_cap = np.isin(probe, probe[cap_frac < 1.0])
    free = ~has_cap
    leaves[free] = leave_clock_by_priority(clock_bits[free], bits[free], probe[free], low[free])
    some = np.flatnonzero(has_cap)
    firsts = np.flatnonzero(np.diff(probe[some], prepend=-1))
    for member in np.split(some, firsts[1:]) if some.size else ():
        begin = clock_bits[member[0]]  # small numbers keep what is left of each exact
        gone = capped_sharing(
            (clock_bits[member] - begin).tolist(), bits[member].tolist(),
            cap_frac[member].tolist(), low[member].tolist(),
        )  # fmt: skip
        leaves[member] = begin + np.array(gone)
    return leaves


def _felt(
    clock_bits: "NDArray[np.float64]",
    bits: "NDArray[np.float64]",
    probe: "NDArray[np.int64]",
    is_probe: "NDArray[np.bool_]",
) -> "NDArray[np.bool_]":
    """Transfers of the busy period in which their probe falls, itself among them."""
    period = busy_periods(clock_bits, bits, probe)
    own = np.empty(int(probe[-1]) + 1, np.int64)
    own[probe[is_probe]] = period[is_probe]
    return np.asarray(period == own[probe])


def _met(probe: "NDArray[np.int64]") -> "NDArray[np.bool_]":
    """Entries of `probe`, sorted, that are there more than once."""
    same = probe[1:] == probe[:-1]
    met = np.zeros(probe.size, np.bool_)
    met[1:] = same
    met[:-1] |= same
    return met


def _besides(tagged: FlowClass, flow: FlowClass) -> FlowClass:
    """What `flow` brings beside the transfer looked at: its own user waits for it meanwhile."""
    if flow.name != tagged.name or not flow.n_sources:
        return flow
    n_others = flow.n_sources - 1
    share = n_others / flow.n_sources
    return replace(flow, arrivals_per_s=flow.arrivals_per_s * share, n_sources=n_others)


def _split(
    mean_rate_bps: float, tagged: FlowClass, classes: Sequence[FlowClass]
) -> tuple[float, list[FlowClass]]:
    """Share that the steady part of small transfers leaves, and the others singly."""
    single, steady = [], 0.0
    for flow in (_besides(tagged, one) for one in classes):
        if not flow.load_bps or (flow.low_priority and not tagged.low_priority):
            continue
        if flow.mean_bits < MERGE_FRAC * tagged.mean_bits:
            steady += flow.load_bps
        else:
            single.append(flow)
    if not steady or not mean_rate_bps:
        return 1.0, single
    return max(1.0 - steady / mean_rate_bps, _LEAST_SHARE_FRAC), single


def _walk_s(single: Sequence[FlowClass], busy_s: float, give_up_s: float) -> float:
    """How long after its start the others around a probe are met one by one. [s]"""
    per_s = sum(flow.arrivals_per_s for flow in single)
    return min(busy_s, max(give_up_s, 1e-3), _MOST_AROUND / per_s)


def _rest_frac(left_frac: float, single: Sequence[FlowClass], mean_rate_bps: float) -> float:
    """Share of the capacity that all others leave in the mean."""
    load_bps = sum(flow.load_bps for flow in single)
    if not mean_rate_bps:
        return left_frac
    return max(left_frac - load_bps / mean_rate_bps, _LEAST_SHARE_FRAC)


def _among(paths: CapacityPaths, probes: _Probes, around: _Around) -> "NDArray[np.float64]":
    """Time of each probe among the others, walked as far as the probe lasts. [s]"""
    n = probes.row.size
    time_s = np.full(n, np.inf)
    open_ = np.flatnonzero(np.isfinite(probes.alone_s))
    if not open_.size:
        return time_s
    share = around.share
    last_s = share.walk_s
    parts = [around.company.present(around.flows, around.mean_rate_bps, share.busy_s, n)]
    reached = np.full(n, -SETTLE_S)
    horizon = np.full(n, -SETTLE_S)
    horizon[open_] = np.minimum(2.0 * probes.alone_s[open_], last_s)
    while open_.size:
        parts.append(around.company.arrivals(around.flows, reached, horizon))
        time_s[open_] = _times_s(paths, probes, open_, joined(parts), around)
        reached[open_] = horizon[open_]
        # what starts after a probe has ended cannot have held it back
        open_ = open_[(time_s[open_] > reached[open_]) & (reached[open_] < last_s)]
        horizon[open_] = np.minimum(2.0 * time_s[open_], last_s)
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
    give_up_s: float = math.inf,
    after_factor: float = 1.0,
    beside: Beside | None = None,
) -> SharingResult:
    """Transfers of one class, each met at a random moment among all `classes`.

    Parameters
    ----------
    paths : CapacityPaths
        Capacity of the direction at the IP layer.
    tagged : FlowClass
        What is looked at; its `arrivals_per_s` is not used. Of a class of its name with
        `n_sources` one user fewer is beside it.
    classes : sequence of FlowClass
        The load, with the tagged class's own share of it; may be empty.
    n_probes : int
        Number of transfers looked at, spread evenly over the rows.
    busy_s : float
        A load above the capacity has lasted for a part of this when the probe starts, and lasts
        this long after. [s]
    company : Company, optional
        The others around at least `n_probes` probes; drawn from `rng` if not given.
    give_up_s : float
        From this on the others are met as their mean load, no longer one by one. [s]
    after_factor : float
        Share of the capacity that each probe has once the busy hour has ended.
    beside : Beside, optional
        Streams beside each probe and its company.

    Returns
    -------
    result : SharingResult
        `class_index` is 0 throughout.

    Notes
    -----
    The start is exact for a constant capacity; a capacity that varies is met through the minute
    before the probe. Transfers below a thirtieth of the probe's size are taken off the capacity
    instead of walked one by one. A cap counts as a share of the mean capacity around the probe.
    With the same `rng` less
    load never gives a longer time, but for probes that meet more than 500 others: those meet
    them as their mean load from there on. Cost: what is under way at the start, and what starts
    while the probe runs.

    Source
    ------
    F. P. Kelly, "Reversibility and Stochastic Networks", 1979, section 3.3: the stationary
    state of a processor-sharing queue (value from memory).
    """
    n = count("n_probes", n_probes)
    probe_rng, company_rng = rng.spawn(2)
    own = np.ones(n) if beside is None else beside.own_frac
    mean_bps = paths.mean_rate_bps * float(own.mean())
    probes = _probes(paths, tagged, probe_rng, _Share(own, busy_s, own, busy_s, after_factor))
    if company is None:
        company = Company(n, int(company_rng.integers(2**63)))
    left_frac, single = _split(mean_bps, tagged, classes)
    if single:
        walk_s = _walk_s(single, busy_s, give_up_s)
        rest_frac = _rest_frac(left_frac, single, mean_bps)
        share = _Share(left_frac * own, walk_s, rest_frac * own, busy_s, after_factor)
        cap_bps = math.inf if tagged.cap_bps is None else tagged.cap_bps
        around = _Around(
            tagged.low_priority,
            cap_bps,
            single,
            company,
            left_frac * mean_bps,
            share,
            None if beside is None else beside.factors(),
        )
        time_s = _among(paths, probes, around)
    else:
        share = _Share(left_frac * own, busy_s, left_frac * own, busy_s, after_factor)
        clock = paths.carried_bits(probes.start_s, probes.row)
        goal = clock + probes.bits / share.walked_frac
        time_s = share.times_s(paths, probes.start_s, probes.row, goal, np.arange(n))
        time_s = np.maximum(time_s, probes.alone_s)
    return SharingResult(
        class_index=np.zeros(n, np.int64),
        draw=probes.row,
        start_s=probes.start_s,
        bits=probes.bits,
        time_s=time_s,
        alone_s=probes.alone_s,
        free_s=probes.free_s,
    )
