"""How long each task of a Site takes in its busy hour, everybody else being on the link too.

A task's time is the time it would need alone (TCP over the capacity of its direction, round
trips, relay, the far end) plus what the others' transfers add (equal sharing of the same path
from the same moment), so both see the same outages.
"""

import math
from collections.abc import Hashable
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.busy_hour import (
    BusyHour,
    after_factor,
    beside,
    left_beside_frac,
)
from linkfit.forecast.call_delay import heard_delay_s
from linkfit.forecast.demand import REQUEST_BYTES
from linkfit.forecast.draws import Forecast
from linkfit.forecast.known_times import KnownTimes
from linkfit.forecast.latency_unknowns import draw_unknowns
from linkfit.forecast.load import (
    away_frac,
    directions,
    flow_class,
    is_stream,
    opposite,
    same_link_frac,
    stream_rate_bps,
    wire_bytes,
    yields,
)
from linkfit.forecast.playback import live_delay_s, start_delay_s
from linkfit.forecast.round_trips import RoundTrips
from linkfit.forecast.route import Route, request_times_s
from linkfit.forecast.sharing import FlowClass, SharingResult, spread_rows
from linkfit.forecast.tagged import simulate_tagged
from linkfit.site.model import PathLimits, Service, Task
from linkfit.units import BITS_PER_BYTE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.paths import CapacityPaths

BROWSER_LANES = 6  # requests under way at once for a page; common practice
# A shared queue on such a link seldom runs dry, so its drops cost next to nothing, and the
# transfers need no walk window by window: `predict_transfer` has that for one payload.
DEEP_BUFFER_BYTES = 1e12
_START_ROUND_TRIPS = 3  # of a stream: TCP, TLS 1.3, request


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TaskDraws:
    """Times of one task and of its parts, shape (n,), with the world of each. [s]"""

    times_s: "NDArray[np.float64]"
    fixed_s: "NDArray[np.float64]"
    added_s: "NDArray[np.float64]"
    world: "NDArray[np.int32]"

    def forecast(self) -> Forecast:
        """The same as a Forecast; parts split the median run."""
        near = np.argsort(self.times_s)[self.times_s.size // 2 - 1 : self.times_s.size // 2 + 1]
        total, fixed, added = (
            float(part[near].mean()) for part in (self.times_s, self.fixed_s, self.added_s)
        )
        parts = {}
        if np.isfinite(total):
            parts = {"round trips and far end": fixed, "other transfers": added}
            parts["capacity"] = max(total - fixed - added, 0.0)
        return Forecast(draws=self.times_s, unit="s", world=self.world, parts=parts)


def route_of(task: Task, service: Service, path: PathLimits) -> Route:
    """The way a remote client of `task` reaches the server."""
    limits = [r for r in (task.remote_rate_bps, service.rate_limit_bps) if r is not None]
    return Route(
        tls=True,
        handshake_round_trips=None if task.fresh_connection else 0,
        relay_rtt_s=_relay_s(task, path),
        tunnel_overhead_bytes=path.tunnel_overhead_bytes,
        mtu_bytes=path.mtu_bytes,
        remote_rate_bps=min(limits) if limits else None,
        buffer_bytes=DEEP_BUFFER_BYTES,
    )


def _relay_s(task: Task, path: PathLimits) -> float:
    """Round trip that the relay adds to what comes in through it. [s]"""
    return path.relay_rtt_s if path.entry == "relay" and task.through_entry else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _OwnDraws:
    """What a task draws for its runs, whatever the load: the same for each."""

    rtts: RoundTrips
    stay_uniforms: "NDArray[np.float64]"  # (n,): on the link itself where below its share
    seeds: tuple[int, int]  # of its own direction, and of the way back

    @classmethod
    def draw(cls, hour: BusyHour, task: Task, n: int, rng: np.random.Generator) -> "_OwnDraws":
        ways = [way for way in directions(task) if way in hour.paths]
        rtts = RoundTrips.draw(hour.link, hour.paths, ways, n, rng)
        stay_uniforms = rng.random(n)
        first, second = rng.integers(2**63, size=2)
        return cls(rtts=rtts, stay_uniforms=stay_uniforms, seeds=(int(first), int(second)))


def task_draws(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    *,
    rng: np.random.Generator,
    n_probes: int,
    alone: dict[Hashable, Any] | None = None,
    give_up_s: float = math.inf,
) -> TaskDraws:
    """Times of `task` in the busy hour; clients on the same link wait for the slower direction.

    Parameters
    ----------
    rng : numpy.random.Generator
        The task's own stream, so that an edit elsewhere leaves its draws alone.
    n_probes : int
        Runs of the task that are looked at.
    alone : dict, optional
        Keeps the part of the times that company does not change, for calls with other loads and
        the same task, paths and `rng`.
    give_up_s : float
        A time above this may be too short, though never below this. [s]

    Notes
    -----
    A task that caches can answer is timed when it has to cross the link: the hits cost
    nothing and are counted in load and data use only.
    """
    hour = _felt_by(hour, service)
    alone = {} if alone is None else alone
    if ("own draws", n_probes) not in alone:
        alone["own draws", n_probes] = _OwnDraws.draw(hour, task, n_probes, rng)
    own: _OwnDraws = alone["own draws", n_probes]
    rtts = own.rtts.met_s({way: hour.busy_frac(way) for way in own.rtts.ways})
    stay = same_link_frac(task, service, path) / max(away_frac(task, service, path), 1e-9)
    seed, back_seed = own.seeds
    result: TaskDraws | None = None
    for direction in directions(task):
        one = _one_direction(task, service, path, hour, direction, rtts, seed, alone, give_up_s)
        result = one if result is None else _slower(result, one, np.ones(n_probes, np.bool_))
    assert result is not None
    back = opposite(directions(task)[0])
    if stay > 0 and len(directions(task)) == 1 and back in hour.paths:
        one = _one_direction(task, service, path, hour, back, rtts, back_seed, alone, give_up_s)
        result = _slower(result, one, own.stay_uniforms < stay)
    return result


def _felt_by(hour: BusyHour, service: Service) -> BusyHour:
    """The busy hour without the low priority transfers that `service` does not feel."""
    if service.priority == "low" or not any(
        flow.low_priority for flows in hour.classes.values() for flow in flows
    ):
        return hour
    felt = {
        way: tuple(flow for flow in flows if not flow.low_priority)
        for way, flows in hour.classes.items()
    }
    return replace(hour, classes=felt)


def _slower(first: TaskDraws, second: TaskDraws, where: "NDArray[np.bool_]") -> TaskDraws:
    """The slower of two directions where `where` holds, else the first."""
    swap = where & (second.times_s > first.times_s)

    def pick(name: str) -> Any:
        return np.where(swap, getattr(second, name), getattr(first, name))

    return TaskDraws(
        times_s=pick("times_s"), fixed_s=pick("fixed_s"), added_s=pick("added_s"), world=first.world
    )


def _one_direction(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    direction: str,
    rtts_s: "NDArray[np.float64]",
    seed: int,
    alone: dict[Hashable, Any],
    give_up_s: float,
) -> TaskDraws:
    rng = np.random.default_rng(seed)
    if is_stream(task):
        return stream_draws(task, service, path, hour, direction, rtts_s=rtts_s, rng=rng)
    flow = flow_class(task, service, path, 1)
    flow = replace(flow, low_priority=yields(service, direction))
    paths = hour.paths[direction]
    result = simulate_tagged(
        paths, flow, hour.classes[direction],
        rng=rng, n_probes=rtts_s.size, company=hour.company, give_up_s=give_up_s,
        after_factor=after_factor(hour, direction),
        beside=beside(hour, direction, flow, rtts_s.size),
    )  # fmt: skip
    # round trips depend on the load as well: only the runs that meet others are walked again
    key = (direction, seed, flow, rtts_s.size)
    known = alone.setdefault(key, KnownTimes(rtts_s.size))
    again = known.lacks(rtts_s)
    if again.any():
        route = route_of(task, service, path)
        some = _runs(result, again)
        known.add(rtts_s, again, _alone_s(task, flow, route, path, paths, some, rtts_s[again]))
    fluid_s = np.where(np.isfinite(result.alone_s), result.alone_s, 0.0)
    # streams beside it, and the end of the busy hour
    other_s = np.where(np.isfinite(result.alone_s), result.alone_s - result.free_s, 0.0)
    alone_s = known.times_s(rtts_s) + other_s
    return TaskDraws(
        times_s=alone_s + result.added_s,
        fixed_s=np.maximum(alone_s - fluid_s, 0.0),
        added_s=result.added_s,
        world=paths.world[result.draw],
    )


def _runs(result: SharingResult, keep: "NDArray[np.bool_]") -> SharingResult:
    """Only the runs marked in `keep`."""
    return SharingResult(
        **{field.name: getattr(result, field.name)[keep] for field in fields(SharingResult)}
    )


def _alone_s(
    task: Task,
    flow: FlowClass,
    route: Route,
    path: PathLimits,
    paths: "CapacityPaths",
    result: SharingResult,
    rtts_s: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Time of the same runs with nobody else on the link: TCP, round trips, far end. [s]"""
    n_requests = max(1, round(flow.mean_bits / BITS_PER_BYTE / _mean_wire_bytes(task, path)))
    head = n_requests * REQUEST_BYTES
    sizes = np.maximum((result.bits / BITS_PER_BYTE - head) / wire_bytes(1.0, 0, path), 1.0)
    lanes = max(task.n_parallel, BROWSER_LANES if n_requests > task.n_parallel else 1)
    return n_requests * task.per_item_s / task.n_parallel + request_times_s(
        paths,
        starts_s=result.start_s,
        draws=result.draw,
        sizes_bytes=sizes,
        rtts_s=rtts_s,
        route=route,
        n_requests=n_requests,
        n_parallel=lanes,
    )


def _mean_wire_bytes(task: Task, path: PathLimits) -> float:
    return wire_bytes(task.size.mean_bytes, 1, path)


def stream_draws(
    task: Task,
    service: Service,
    path: PathLimits,
    hour: BusyHour,
    direction: str,
    *,
    rtts_s: "NDArray[np.float64]",
    rng: np.random.Generator,
) -> TaskDraws:
    """Wait of one stream before it plays, or how late a live one runs."""
    n = rtts_s.size
    rate = stream_rate_bps(task, path)
    name = f"{service.name}: {task.name}"
    left = left_beside_frac(hour, direction, name, n, live=task.live)
    paths = hour.paths[direction]
    rate_bps = rate / left  # a part of the capacity for a rate is the whole of it for a larger one
    draws = spread_rows(paths, n)
    starts = rng.random(n) * paths.horizon_s
    relay_s = _relay_s(task, path)
    if task.live:
        moment = rng.random(n)
        wait_s = live_delay_s(
            paths, starts, draws, rate_bps=rate_bps, duration_s=task.duration_s, moment_frac=moment
        )
        fixed_s = (rtts_s + relay_s) / 2
        unknowns = draw_unknowns(hour.link, direction, paths.world, rng.spawn(1)[0]).at(draws)
        wait_s = heard_delay_s(wait_s + fixed_s, unknowns, task.target_s) - fixed_s
    else:
        wait_s = start_delay_s(paths, starts, draws, rate_bps=rate_bps, duration_s=task.duration_s)
        fixed_s = _START_ROUND_TRIPS * (rtts_s + relay_s)
    added_s = wait_s * (1.0 - left)
    return TaskDraws(
        times_s=wait_s + fixed_s, fixed_s=fixed_s, added_s=added_s, world=paths.world[draws]
    )
