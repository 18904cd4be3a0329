"""Interactive work while the link is idle, while the server sends without a limit, or under one.

Everything happens in the direction in which the server sends: what a sync or backup fills. The
other direction is taken as free of queues.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count
from linkfit.forecast.activities import Activity
from linkfit.forecast.draws import Forecast
from linkfit.forecast.latency_unknowns import LatencyUnknowns
from linkfit.forecast.queue_delay import queue_bits, wait_s, warm_up_steps
from linkfit.forecast.route import Route, request_times_s
from linkfit.forecast.sharing import spread_rows
from linkfit.forecast.voice import opinion_score, rating
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.link.paths import CapacityPaths
from linkfit.units import format_duration

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel

SURE_FRAC = 0.95  # share of moments in which something works that is said to work
PAGE_BYTES, PAGE_REQUESTS, PAGE_SPREAD = 200e3, 12, 2.5  # a lean page; common practice
PAGE_TARGET_S = 4.0  # ITU-T G.1010, acceptable; value from memory
_BROWSER_LANES = 6  # common practice
_PACKET_BITS = 12e3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Moments:
    """Random moments of one direction, the same for all activities and situations.

    Parameters
    ----------
    paths : CapacityPaths
        What interactive work and the sender share.
    unknowns : LatencyUnknowns
        One draw a row of `paths`.
    draws, steps : array of int, shape (n,)
        Row and step of each moment.
    rtts_s : array, shape (n,)
        Round trip without a queue, the relay's included. [s]
    loss_u, busy_u : array, shape (n,)
        Uniform in [0, 1): decide whether a packet is lost, and whether others send.
    """

    paths: CapacityPaths
    unknowns: LatencyUnknowns
    draws: "NDArray[np.int64]"
    steps: "NDArray[np.int64]"
    rtts_s: "NDArray[np.float64]"
    loss_u: "NDArray[np.float64]"
    busy_u: "NDArray[np.float64]"

    @property
    def starts_s(self) -> "NDArray[np.float64]":
        """When each moment begins on its row. [s]"""
        return np.asarray(self.steps * self.paths.step_s, dtype=np.float64)

    def forecast(self, draws: "NDArray[np.float64]", unit: str) -> Forecast:
        """A value a moment as a Forecast."""
        return Forecast(draws=draws, unit=unit, world=self.paths.world[self.draws])

    def first(self, n: int) -> "Moments":
        """The first `n` of the moments."""
        return replace(
            self,
            draws=self.draws[:n],
            steps=self.steps[:n],
            rtts_s=self.rtts_s[:n],
            loss_u=self.loss_u[:n],
            busy_u=self.busy_u[:n],
        )

    def others_send(self, situation: "Situation") -> "NDArray[np.bool_]":
        """At which moments the bulk data of `situation` runs, shape (n,)."""
        return self.busy_u < situation.busy_frac

    def share(self, hits: "NDArray[np.bool_]") -> Estimate:
        """Share of the moments that are good, and its interval over the worlds."""
        world = self.paths.world[self.draws]
        found = over_worlds(world, lambda chosen: float(hits[chosen].mean()))
        return Estimate(value=found.value, low=max(found.low, 0.0), high=min(found.high, 1.0))


def draw_moments(
    link: "LinkModel",
    paths: CapacityPaths,
    unknowns: LatencyUnknowns,
    rng: np.random.Generator,
    *,
    n_moments: int = 4000,
    relay_rtt_s: float = 0.0,
) -> Moments:
    """Moments spread evenly over the rows; the first minutes of a row fill the queue.

    Parameters
    ----------
    relay_rtt_s : float
        Round trip beyond the link to the relay and on. [s]
    """
    n = count("n_moments", n_moments)
    draws = spread_rows(paths, n)
    return Moments(
        paths=paths,
        unknowns=unknowns,
        draws=draws,
        steps=rng.integers(warm_up_steps(paths), paths.n_steps, n),
        rtts_s=link.draw_rtts_s(n, rng) * unknowns.rtt_factor[draws] + relay_rtt_s,
        loss_u=rng.random(n),
        busy_u=rng.random(n),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """What else runs: `offered_bps` of bulk data (0: nothing; inf: without a limit).

    `busy_frac` below 1: only in that share of the moments. [fraction]
    """

    name: str
    offered_bps: float
    busy_frac: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One activity in one situation: its time, and the share of moments in which it is good.

    `score` is the mean opinion score of a voice call, None for the rest; `short_of_rate_frac`
    the share of time in which the link is slower than the activity's own rate.
    """

    activity: str
    situation: str
    measure: str
    good: str
    time: Forecast
    share: Estimate
    score: Forecast | None = None
    short_of_rate_frac: float = 0.0

    @property
    def verdict(self) -> str:
        """Word for the cell: "fits", "does not fit", or "may fit" where the interval holds both."""
        if self.share.low >= SURE_FRAC:
            return "fits"
        return "does not fit" if self.share.high < SURE_FRAC else "may fit"


def waits_s(moments: Moments, situation: Situation, activity: Activity) -> "NDArray[np.float64]":
    """Time that the queue and the link cost the activity's packet at each moment. [s]"""
    paths = moments.paths
    rows, steps = moments.draws, moments.steps
    buffers = moments.unknowns.queue_bits

    def queue_at(offered_bps: float) -> "NDArray[np.float64]":
        return queue_bits(paths, offered_bps + activity.own_bps, buffers)[rows, steps]

    waiting = queue_at(situation.offered_bps)
    if situation.busy_frac < 1:
        waiting = np.where(moments.others_send(situation), waiting, queue_at(0.0))
    return wait_s(paths, moments.starts_s, rows, waiting, activity.own_bits)


def judge(moments: Moments, situation: Situation, activity: Activity) -> Cell:
    """`activity` in `situation`: its time and the share of good moments."""
    rows = moments.draws
    either_frac = 1.0 - (1.0 - moments.unknowns.loss_frac[rows]) ** 2  # of two packets
    base_s = activity.base_s(moments.rtts_s, moments.loss_u < either_frac)
    times_s = base_s + waits_s(moments, situation, activity)
    good = times_s <= activity.within_s(moments.unknowns)[rows]
    score = None
    if activity.codec is not None:
        points = rating(
            activity.codec,
            delay_s=times_s,
            loss_frac=moments.unknowns.loss_frac[rows],
            burst_ratio=moments.unknowns.burst_ratio[rows],
        )
        score = moments.forecast(opinion_score(points), "MOS")
    slow = moments.paths.rates_bps < activity.own_bps
    return Cell(
        activity=activity.name,
        situation=situation.name,
        measure=activity.measure,
        good=activity.good,
        time=moments.forecast(times_s, "s"),
        share=moments.share(good),
        score=score,
        short_of_rate_frac=float(slow.mean()),
    )


def judge_page(
    moments: Moments,
    situation: Situation,
    route: Route,
    rng: np.random.Generator,
    *,
    n_pages: int = 400,
) -> Cell:
    """Opening a lean page of the server in `situation`.

    Parameters
    ----------
    route : Route
        The way to the server; its relay is in the moments' round trips already.
    rng : numpy.random.Generator
        Of the pages' sizes; the same state gives the same pages in each situation.
    n_pages : int
        Moments looked at, the first ones.

    Notes
    -----
    Each round trip waits behind the queue, as long as that is when the page is asked for. The
    page's connections and the bulk data's one share the link equally, unless the limit leaves
    the page more.
    """
    few = moments.first(count("n_pages", n_pages))
    sends = few.others_send(situation)
    sizes = rng.lognormal(np.log(PAGE_BYTES), np.log(PAGE_SPREAD), few.draws.size)
    rtts_s = few.rtts_s + np.where(sends, _queue_s(few, situation.offered_bps), 0.0)
    times_s = np.empty(few.draws.size)
    for which, paths in ((sends, _left(few.paths, situation)), (~sends, few.paths)):
        if which.any():
            times_s[which] = request_times_s(
                paths,
                starts_s=few.starts_s[which],
                draws=few.draws[which],
                sizes_bytes=sizes[which],
                rtts_s=rtts_s[which],
                route=replace(route, relay_rtt_s=0.0),
                n_requests=PAGE_REQUESTS,
                n_parallel=_BROWSER_LANES,
            )
    return Cell(
        activity="page load",
        situation=situation.name,
        measure="whole",
        good=f"within {format_duration(PAGE_TARGET_S)}",
        time=few.forecast(times_s, "s"),
        share=few.share(times_s <= PAGE_TARGET_S),
    )


def _queue_s(moments: Moments, offered_bps: float) -> "NDArray[np.float64]":
    """What the queue alone adds to one packet at each moment; an outage costs it anyway. [s]"""
    paths, rows = moments.paths, moments.draws
    waiting = queue_bits(paths, offered_bps, moments.unknowns.queue_bits)[rows, moments.steps]
    behind_s = wait_s(paths, moments.starts_s, rows, waiting, _PACKET_BITS)
    alone_s = wait_s(paths, moments.starts_s, rows, 0.0, _PACKET_BITS)
    return np.where(np.isfinite(behind_s), behind_s - np.minimum(alone_s, behind_s), 0.0)


def _left(paths: CapacityPaths, situation: Situation) -> CapacityPaths:
    """What bulk data of one connection leaves for the connections of a page."""
    rates = paths.rates_bps
    fair = rates * _BROWSER_LANES / (_BROWSER_LANES + 1)
    left = np.maximum(rates - situation.offered_bps, fair)
    return CapacityPaths.from_rates(left, paths.step_s, paths.world)
