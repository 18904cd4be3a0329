"""One transfer looked at among the others: its time, and how many users it can bear.

A transfer that starts at a random moment meets the link as it is in the long run (Poisson
arrivals see time averages), so each probe is an own short history: the link starts idle, warms
up with the others, then the probe starts. Rare tasks get as many probes as frequent ones.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, fraction, non_negative, positive
from linkfit.forecast.sharing import (
    BUSY_S,
    FlowClass,
    SharingResult,
    share_capacity,
    spread_rows,
    warm_up_s,
)
from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

_TOP_LOAD_FRAC = 0.8  # load for which the search for users warms up; targets are missed by then
_FINEST_STEP_FRAC = 0.05  # users are counted to 5 %, which is finer than the probes can tell


@dataclass(frozen=True, slots=True)
class _Company:
    """Transfers of the others around probes: which probe, when, how many bits, cap, user mark."""

    probe: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    cap_bps: "NDArray[np.float64]"
    user_position: "NDArray[np.float64]"

    def only(self, keep: "NDArray[np.bool_]") -> "_Company":
        return _Company(
            self.probe[keep], self.start_s[keep], self.bits[keep], self.cap_bps[keep],
            self.user_position[keep],
        )  # fmt: skip


def _joined(parts: Sequence[_Company]) -> _Company:
    """All of `parts` in one."""
    return _Company(*(
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("probe", "start_s", "bits", "cap_bps", "user_position")
    ))  # fmt: skip


def _company(
    classes: Sequence[FlowClass],
    probe: "NDArray[np.int64]",
    from_s: "NDArray[np.float64]",
    length_s: "NDArray[np.float64]",
    rng: np.random.Generator,
    users: tuple[float, float] = (0.0, 1.0),
) -> _Company:
    """Poisson arrivals of `classes` around each probe, for the users from `users[0]` to [1]."""
    rate = np.array([c.arrivals_per_s for c in classes])
    total = float(rate.sum()) * (users[1] - users[0]) if rate.size else 0.0
    n_each = rng.poisson(total * length_s)
    who = np.repeat(np.arange(probe.size), n_each)
    start = from_s[who] + rng.random(who.size) * length_s[who]
    weights = rate / rate.sum() if total else np.ones(1)
    index = rng.choice(weights.size, who.size, p=weights)
    median = np.array([c.median_bits for c in classes] or [1.0])
    sigma = np.log([c.spread for c in classes] or [1.0])
    caps = np.array([c.cap_bps or math.inf for c in classes] or [math.inf])
    return _Company(
        probe=probe[who],
        start_s=start,
        bits=median[index] * np.exp(sigma[index] * rng.standard_normal(index.size)),
        cap_bps=caps[index],
        user_position=users[0] + rng.random(who.size) * (users[1] - users[0]),
    )


@dataclass(frozen=True, slots=True)
class _Probes:
    """The transfers looked at: row, start, bits, cap and time alone of each; shape (n,)."""

    paths: CapacityPaths
    row: "NDArray[np.int64]"
    start_s: "NDArray[np.float64]"
    bits: "NDArray[np.float64]"
    cap_bps: float
    alone_s: "NDArray[np.float64]"

    def time_s(self, which: "NDArray[np.int64]", company: _Company) -> "NDArray[np.float64]":
        """Time of the probes `which` among `company`. [s]"""
        others = company.only(np.isin(company.probe, which))
        caps = np.r_[np.full(which.size, self.cap_bps), others.cap_bps]
        times = share_capacity(
            self.paths,
            np.r_[self.start_s[which], others.start_s],
            np.r_[self.bits[which], others.bits],
            draws=self.row[np.r_[which, others.probe]],
            group_index=np.r_[which, others.probe],
            caps_bps=None if np.isinf(caps).all() else caps,
        )
        return np.maximum(times[: which.size], self.alone_s[which])


def _probes(
    paths: CapacityPaths, tagged: FlowClass, n: int, warm_s: float, rng: np.random.Generator
) -> _Probes:
    """`n` transfers of the tagged class, spread evenly over the rows, at random moments."""
    row = spread_rows(paths, n)
    start = warm_s + rng.random(n) * paths.horizon_s
    bits = tagged.median_bits * np.exp(math.log(tagged.spread) * rng.standard_normal(n))
    cap = tagged.cap_bps or math.inf
    alone = share_capacity(
        paths,
        start,
        bits,
        draws=row,
        group_index=np.arange(n),
        caps_bps=None if math.isinf(cap) else cap,
    )
    return _Probes(paths, row, start, bits, cap, alone)


def simulate_tagged(
    paths: CapacityPaths,
    tagged: FlowClass,
    classes: Sequence[FlowClass],
    *,
    rng: np.random.Generator,
    n_probes: int = 400,
    busy_s: float = BUSY_S,
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
        The load lasts this long after the start at most (and before it). [s]

    Returns
    -------
    result : SharingResult
        `class_index` is 0 throughout.

    Notes
    -----
    Cost: the transfers that start while the link warms up and while the probe runs.
    """
    n = count("n_probes", n_probes)
    warm = warm_up_s(paths, classes, busy_s)
    probes = _probes(paths, tagged, n, warm, rng)
    time_s = np.full(n, np.inf)
    open_ = np.flatnonzero(np.isfinite(probes.alone_s))
    reached = np.zeros(n)
    horizon = np.minimum(2.0 * probes.alone_s, busy_s)
    parts = [_company(classes, open_, probes.start_s[open_] - warm, np.full(open_.size, warm), rng)]
    while open_.size:
        length = horizon[open_] - reached[open_]
        parts.append(_company(classes, open_, probes.start_s[open_] + reached[open_], length, rng))
        time_s[open_] = probes.time_s(open_, _joined(parts))
        reached[open_] = horizon[open_]
        # what starts after a probe has ended cannot have held it back
        open_ = open_[(time_s[open_] > reached[open_]) & (reached[open_] < busy_s)]
        horizon[open_] = np.minimum(2.0 * time_s[open_], busy_s)
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


@dataclass(slots=True)
class _Search:
    """For each probe the users known to be bearable and known to be too many."""

    probes: _Probes
    fixed: _Company
    per_user: Sequence[FlowClass]
    warm_s: float
    limit_s: "NDArray[np.float64]"
    seed: int
    good: "NDArray[np.int64]"
    bad: "NDArray[np.int64]"
    strips: list[_Company] = field(default_factory=list)

    def _strips_up_to(self, n_users: int) -> None:
        """Users (0, 1], (1, 2], (2, 4], ... come in strips, each made once: more users only add."""
        while (top := 2.0 ** len(self.strips)) / 2 < n_users or not self.strips:
            rng = np.random.default_rng([self.seed, len(self.strips)])
            which = np.flatnonzero(self.bad > top / 2)
            low = top / 2 if self.strips else 0.0
            start = self.probes.start_s[which] - self.warm_s
            length = self.warm_s + np.maximum(self.limit_s[which], 0.0)
            self.strips.append(_company(self.per_user, which, start, length, rng, (low, top)))

    def ask(self, which: "NDArray[np.int64]", n_users: "NDArray[np.int64]") -> None:
        """Settle for the probes `which` whether they bear `n_users` (shape of `which`)."""
        unknown = (n_users > self.good[which]) & (n_users < self.bad[which])
        which, n_users = which[unknown], n_users[unknown]
        if not which.size:
            return
        self._strips_up_to(int(n_users.max()))
        asked = np.zeros(self.good.size)
        asked[which] = n_users
        parts = [strip.only(strip.user_position <= asked[strip.probe]) for strip in self.strips]
        times = self.probes.time_s(which, _joined([self.fixed, *parts]))
        fits = times <= self.limit_s[which]
        self.good[which[fits]] = n_users[fits]
        self.bad[which[~fits]] = n_users[~fits]


def _largest(
    search: _Search, group: "NDArray[np.int64]", level: float, n_limit: int
) -> "NDArray[np.int64]":
    """For each group of probes the largest number of users that a share `level` of it bears."""
    n_groups = int(group.max()) + 1
    size = np.bincount(group, minlength=n_groups)
    everyone = np.arange(group.size)
    low, high = np.zeros(n_groups, np.int64), np.full(n_groups, n_limit + 1)

    def settle(groups: "NDArray[np.bool_]", n_users: "NDArray[np.int64]") -> None:
        members = everyone[groups[group]]
        search.ask(members, n_users[group[members]])
        held = np.bincount(group, search.good >= n_users[group], minlength=n_groups)
        fits = held >= level * size - 1e-9
        low[groups & fits] = n_users[groups & fits]
        high[groups & ~fits] = n_users[groups & ~fits]

    step = 1
    while (climbing := (high > n_limit) & (low < n_limit)).any():
        settle(climbing, np.full(n_groups, min(step, n_limit)))
        step *= 2
    while (between := high - low > np.maximum(1, _FINEST_STEP_FRAC * low)).any():
        settle(between, (low + high) // 2)
    return low


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

    Returns
    -------
    limit : UserLimit
        Zero users if the target is missed with one.

    Notes
    -----
    Common random numbers by thinning: the transfers of n users are among those of n + 1, and
    equal sharing never lets a transfer gain from company, so each probe has ONE number of users
    from which on it fails, the quantile is monotone in n, and bisection is exact for the sample.
    Only probes not settled yet run again; only what starts before a probe's limit is drawn.
    """
    n, top = count("n_probes", n_probes), count("n_limit", n_limit)
    positive("target_s", target_s)
    fraction("level", level)
    slack = np.broadcast_to(np.asarray(overhead_s, float), (n,))
    warm = _warm_for_search(paths, per_user, others, busy_s)
    probes = _probes(paths, tagged, n, warm, rng)
    limit_s = target_s - slack
    bad = np.where(probes.alone_s <= limit_s, top + 1, 0).astype(np.int64)
    alive = np.flatnonzero(bad)
    fixed = _company(
        others, alive, probes.start_s[alive] - warm, warm + np.maximum(limit_s[alive], 0.0), rng
    )
    seed = int(rng.integers(2**63))
    search = _Search(probes, fixed, per_user, warm, limit_s, seed, np.zeros(n, np.int64), bad)
    if not any(c.arrivals_per_s for c in per_user):
        search.ask(np.arange(n), np.full(n, top))
    n_users = int(_largest(search, np.zeros(n, np.int64), level, top)[0])
    fifths = _largest(search, capacity_fifth(paths)[probes.row], level, top)
    return UserLimit(
        n_users=n_users,
        n_low=min(n_users, int(fifths[0])),
        n_high=max(n_users, int(fifths[-1])),
        at_limit=n_users >= top,
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


def _warm_for_search(
    paths: CapacityPaths,
    per_user: Sequence[FlowClass],
    others: Sequence[FlowClass],
    busy_s: float,
) -> float:
    """One warm-up for all numbers of users, so that more of them only add transfers. [s]"""
    each = sum(c.load_bps for c in per_user)
    if not each:
        return warm_up_s(paths, others, busy_s)
    room = _TOP_LOAD_FRAC * paths.mean_rate_bps - sum(c.load_bps for c in others)
    n_top = max(1.0, non_negative("room", max(room, 0.0)) / each)
    scaled = [
        FlowClass(
            name=c.name,
            arrivals_per_s=c.arrivals_per_s * n_top,
            median_bits=c.median_bits,
            spread=c.spread,
        )
        for c in per_user
    ]
    return warm_up_s(paths, [*others, *scaled], busy_s)
