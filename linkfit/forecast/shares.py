"""What each waiting backlog may move in each step: priorities, equal shares, limits, restarts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.items import items_per_s, restart_factor
from linkfit.site.model import Backlog
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

WAYS = {"out": ("up",), "in": ("down",), "both": ("up", "down")}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Waiting:
    """One backlog with what only it is held back by.

    Parameters
    ----------
    backlog : Backlog
        Its item size, per-item cost, lanes, rate limit, arrivals, priority.
    heap_bytes : array, shape (d,)
        Payload at the start. [bytes]
    open_frac : array, shape (d or 1, t)
        Part of each step in which the server is up and the backlog may run.
    wire_factor, counted_factor : array, shape (d,)
        Bytes on its slower way, and bytes that the plan counts, for a payload byte.
    breaks_per_h : array, shape (d,)
        Of its transfers, where they cannot resume. [1/h]
    """

    backlog: Backlog
    heap_bytes: "NDArray[np.float64]"
    open_frac: "NDArray[np.float64]"
    wire_factor: "NDArray[np.float64]"
    counted_factor: "NDArray[np.float64]"
    breaks_per_h: "NDArray[np.float64]"

    @property
    def arrivals_bytes_per_day(self) -> float:
        """Payload of the items that join. [bytes/day]"""
        return self.backlog.arrivals_per_day * self.backlog.size.mean_bytes


def payload_by_step(
    waiting: Sequence[Waiting],
    done: Sequence[bool],
    left_bps: "Mapping[str, NDArray[np.float64]]",
    up_frac: "NDArray[np.float64]",
    step_s: float,
) -> "NDArray[np.float64]":
    """Payload that each backlog moves in each step; shape (d, k, t). [bytes]

    Parameters
    ----------
    waiting : sequence of Waiting
        All backlogs, k of them.
    done : sequence of bool
        Those that have been empty once: they take no more than what joins them.
    left_bps : mapping of "up" and "down" to array, shape (d, t)
        What services leave of each direction. [bit/s]
    up_frac : array, shape (d or 1, t)
        Part of each step in which the server is up.
    step_s : float
        Length of a step. [s]

    Notes
    -----
    A lower priority number takes all it can use; within one number the link is shared equally,
    and what one cannot use (its own limit, its items' fixed cost) the others take (max-min).
    """
    n_draws, n_steps = next(iter(left_bps.values())).shape
    moved = np.zeros((n_draws, len(waiting), n_steps))
    free = {way: bps * up_frac for way, bps in left_bps.items()}
    for priority in sorted({one.backlog.priority for one in waiting}):
        members = [
            (index, one)
            for index, one in enumerate(waiting)
            if one.backlog.priority == priority and (not done[index] or one.arrivals_bytes_per_day)
        ]
        wants = [_Want.of(one, done[index], free, up_frac) for index, one in members]
        given = _max_min(wants, free)
        for (index, one), want, wire_bps in zip(members, wants, given, strict=True):
            for way in WAYS[one.backlog.flow]:
                free[way] = np.maximum(free[way] - wire_bps, 0.0)
            payload_bps = wire_bps / one.wire_factor[:, None] / want.waste(wire_bps)[:, None]
            moved[:, index] = payload_bps * step_s / BITS_PER_BYTE
    return moved


@dataclass(frozen=True, slots=True, eq=False)
class _Want:
    """What one backlog could use of the link if it had all that is left."""

    one: Waiting
    payload_bps: "NDArray[np.float64]"  # (d, t): of the link while it runs
    wire_bps: "NDArray[np.float64]"  # (d, t): mean over the step, on its slower way

    @classmethod
    def of(
        cls,
        one: Waiting,
        done: bool,
        free: "Mapping[str, NDArray[np.float64]]",
        up_frac: "NDArray[np.float64]",
    ) -> "_Want":
        backlog, wire = one.backlog, one.wire_factor[:, None]
        ways = WAYS[backlog.flow]
        mean_bps = free[ways[0]] if len(ways) == 1 else np.minimum(free["up"], free["down"])
        link_bps = mean_bps / np.where(up_frac > 0, up_frac, 1.0)
        if backlog.rate_limit_bps is not None:
            link_bps = np.minimum(link_bps, backlog.rate_limit_bps)
        payload_bps = link_bps / wire
        item_bits = backlog.size.mean_bytes * BITS_PER_BYTE
        items = items_per_s(payload_bps, item_bits, backlog.per_item_s, backlog.n_parallel)
        wire_bps = items * item_bits * wire * one.open_frac
        want = cls(one, payload_bps, wire_bps)
        if not done:
            return want
        joins_bps = one.arrivals_bytes_per_day * BITS_PER_BYTE / SECONDS_PER_DAY * wire
        open_part = np.maximum(one.open_frac.mean(axis=1, keepdims=True), 1e-9)
        keeps_up = joins_bps * one.open_frac / open_part * want.waste(wire_bps)[:, None]
        return cls(one, payload_bps, np.minimum(wire_bps, keeps_up))

    def waste(self, wire_bps: "NDArray[np.float64]") -> "NDArray[np.float64]":
        """How much longer it takes with `wire_bps` because broken pieces start again; (d,)."""
        one = self.one
        if one.backlog.resumable:
            return np.ones(wire_bps.shape[0])
        runs = np.broadcast_to(one.open_frac > 0, wire_bps.shape)
        got = np.where(
            self.wire_bps > 0, wire_bps / np.where(self.wire_bps > 0, self.wire_bps, 1), 1
        )
        mean_bps = (self.payload_bps * got * runs).sum(axis=1) / np.maximum(runs.sum(axis=1), 1)
        return restart_factor(one.backlog, mean_bps, one.backlog.per_item_s, one.breaks_per_h)


def _max_min(
    wants: Sequence[_Want], free: "Mapping[str, NDArray[np.float64]]"
) -> "list[NDArray[np.float64]]":
    """Max-min fair part of `free` for each of one priority; [bit/s]."""
    if len(wants) == 1:
        return [wants[0].wire_bps]
    given = [np.zeros_like(want.wire_bps) for want in wants]
    rest = dict(free)
    for _ in wants:  # each round satisfies one more, at least
        open_wants = [want.wire_bps - got > 0 for want, got in zip(wants, given, strict=True)]
        share = {}
        for way, bps in rest.items():
            takers = [w for w, one in zip(open_wants, wants, strict=True)
                      if way in WAYS[one.one.backlog.flow]]  # fmt: skip
            share[way] = bps / np.maximum(sum(takers, start=np.zeros(bps.shape)), 1.0)
        for index, want in enumerate(wants):
            ways = WAYS[want.one.backlog.flow]
            offered = share[ways[0]] if len(ways) == 1 else np.minimum(share["up"], share["down"])
            more = np.minimum(want.wire_bps - given[index], offered)
            given[index] = given[index] + more
            for way in ways:
                rest[way] = np.maximum(rest[way] - more, 0.0)
    return given
