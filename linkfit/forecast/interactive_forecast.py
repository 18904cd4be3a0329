"""All that is said of interactive work on one link: activities by situation, limits, groups."""

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.forecast.activities import (
    ECHO_TARGET_S,
    Activity,
    key_echo,
    video_call,
    voice_call,
)
from linkfit.forecast.busy_hour import slowest_hour
from linkfit.forecast.draws import Forecast
from linkfit.forecast.interactive import (
    SURE_FRAC,
    Cell,
    Moments,
    Situation,
    draw_moments,
    judge,
    judge_page,
    waits_s,
)
from linkfit.forecast.latency_unknowns import draw_unknowns
from linkfit.forecast.load import site_classes, site_stream_load_bps
from linkfit.forecast.network_class import classes_met
from linkfit.forecast.rate_limits import (
    MOST_PEOPLE,
    RateLimit,
    activity_room_bits,
    adaptive_limits_bps,
    added_delay_limit,
    independent_samples,
    largest_group,
    largest_limit,
    start_limit_bps,
)
from linkfit.forecast.route import Route
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.site.model import Site
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_HOUR, format_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

NO_LIMIT = "a backup sends all it can"
DIRECTION = "up"  # what a server that sends fills
N_DRAWS, N_WORLDS = 200, 20
_LEAST_SHARE_FRAC = 0.05  # of a limit that the site's own traffic would fill
_WIRE_FACTOR = 1.04  # bulk data at the IP layer over its payload; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupCall:
    """Most people in one call that the server relays, on an otherwise idle link.

    `n_people` with its interval over the worlds; 1: not even two. `ways` are the directions that
    were looked at.
    """

    name: str
    n_people: int
    n_low: int
    n_high: int
    ways: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class IdlePath:
    """One way over the idle link: mean delay, its 99.9 % point less its least, and loss.

    `classes` are those of ITU-T Y.1541 that the three values keep.
    """

    delay_s: Estimate
    variation_s: Estimate
    loss_frac: Estimate
    classes: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class InteractiveForecast:
    """Interactive work on one link.

    Parameters
    ----------
    cells : tuple of Cell
        Each activity in each situation.
    limits : tuple of RateLimit
        For key echo, voice call, video call and 100 ms of added delay.
    limit_bps, limit_is_given : float, bool
        Rate limit of the last situation, and whether the caller chose it. [bit/s]
    start_bps, adaptive_bps : float, tuple of float
        What common practice would start with: a fixed limit, and least, base and most of one that
        follows the link. [bit/s]
    sync_bytes : float
        Size whose time is told in `free_s` and `held_s`. [bytes]
    free_s, held_s : Forecast
        Time for it without and under the limit. [s]
    groups : tuple of GroupCall
        Calls of more than two.
    idle : IdlePath
        The way out while nothing is sent.
    hour : int or None
        Local hour that all of it holds for; None: any time that was measured.
    queue_source : str
        Where the queue before the link comes from.
    is_floor : bool
        Nobody ever tried for all that the link carries: rates and limits are a floor.
    n_probes, n_busy_probes : int
        Round trips behind it, and those while the link was busy.
    """

    cells: tuple[Cell, ...]
    limits: tuple[RateLimit, ...]
    wanted_prob: float
    limit_bps: float
    limit_is_given: bool
    start_bps: float
    adaptive_bps: tuple[float, float, float]
    sync_bytes: float
    free_s: Forecast
    held_s: Forecast
    groups: tuple[GroupCall, ...]
    idle: IdlePath
    hour: int | None
    queue_s: Forecast
    queue_source: str
    is_floor: bool
    n_probes: int
    n_busy_probes: int


@dataclass(frozen=True, slots=True)
class _Ask:
    """The link, the way to the server, and how to draw."""

    link: "LinkModel"
    site: Site
    hour: int | None
    buffer_bytes: float | None
    seed: int

    def rng(self, name: str) -> np.random.Generator:
        return np.random.default_rng([self.seed, zlib.crc32(name.encode())])

    @property
    def relay_rtt_s(self) -> float:
        return self.site.path.relay_rtt_s if self.site.path.entry == "relay" else 0.0

    def moments(self, direction: str) -> Moments:
        """Random moments of a direction in the hour that is asked for."""
        paths = self.link.paths(
            direction,
            horizon_s=SECONDS_PER_HOUR,
            n_draws=N_DRAWS,
            rng=self.rng(f"paths {direction}"),
            n_worlds=N_WORLDS,
            hour=self.hour,
        )
        unknowns = draw_unknowns(
            self.link, direction, paths.world, self.rng(f"unknowns {direction}"),
            buffer_bytes=self.buffer_bytes,
        )  # fmt: skip
        return draw_moments(
            self.link, paths, unknowns, self.rng("moments"), relay_rtt_s=self.relay_rtt_s
        )

    def limit(
        self,
        moments: Moments,
        activity: Activity,
        own_bps: float,
        prob: float,
        direction: str = DIRECTION,
    ) -> RateLimit:
        """The largest rate beside `own_bps` that leaves `activity` good."""
        room = activity_room_bits(
            moments.paths, moments.unknowns, activity, self.link, self.rng("room"),
            relay_rtt_s=self.relay_rtt_s,
        )  # fmt: skip
        return largest_limit(
            moments.paths, moments.unknowns, room,
            name=activity.name, good=activity.good, own_bps=own_bps, wanted_prob=prob,
            n_independent=independent_samples(self.link.direction(direction)),
        )  # fmt: skip


def forecast_interactive(
    link: "LinkModel",
    *,
    site: Site | None = None,
    upload_limit_bps: float | None = None,
    echo_within_s: float = ECHO_TARGET_S,
    buffer_bytes: float | None = None,
    wanted_prob: float = SURE_FRAC,
    sync_bytes: float = 1e9,
    seed: int = 0,
) -> InteractiveForecast:
    """Key echo, page load and calls: while nothing is sent, behind bulk data, and under a limit.

    Parameters
    ----------
    site : Site, optional
        Gives relay, tunnel, hours and the usual traffic; without it the way is direct.
    upload_limit_bps : float, optional
        Rate limit on all bulk data that the server sends; the largest that keeps key echo and
        calls good if not given. [bit/s]
    echo_within_s : float
        Time that a key may take. [s]
    buffer_bytes : float, optional
        Buffer before the link; measured or a prior if not given. [bytes]
    wanted_prob : float
        Share of moments that must be good. [probability]
    sync_bytes : float
        Payload of the bulk data whose time is told. [bytes]

    Raises
    ------
    FitError
        If the direction up was never measured.
    """
    where = site or Site(name="")
    hour = None if site is None else slowest_hour(link, site.hours)
    ask = _Ask(link, where, hour, buffer_bytes, seed)
    moments = ask.moments(DIRECTION)
    tunnel = where.path.tunnel_overhead_bytes
    echo, voice, video = key_echo(echo_within_s, tunnel), voice_call(tunnel), video_call(tunnel)
    limits = tuple(ask.limit(moments, a, a.own_bps, wanted_prob) for a in (echo, voice, video))
    start_bps = start_limit_bps(moments.paths)
    limit_bps = upload_limit_bps or limit_to_set_bps(limits, start_bps)
    cells = []
    for situation in _situations(moments.paths, site, positive("upload_limit", limit_bps)):
        cells += [judge(moments, situation, activity) for activity in (echo, voice, video)]
        cells.append(judge_page(moments, situation, page_route(where), ask.rng("pages")))
    others_bps = 0.0 if site is None else _load_bps(site)
    added = added_delay_limit(
        moments.paths, moments.unknowns, wanted_prob=wanted_prob,
        n_independent=independent_samples(link.direction(DIRECTION)),
    )  # fmt: skip
    return InteractiveForecast(
        cells=tuple(cells),
        limits=(*limits, added),
        wanted_prob=wanted_prob,
        limit_bps=limit_bps,
        limit_is_given=upload_limit_bps is not None,
        start_bps=start_bps,
        adaptive_bps=adaptive_limits_bps(moments.paths),
        sync_bytes=positive("sync_bytes", sync_bytes),
        free_s=_sync_s(moments.paths, np.inf, sync_bytes, others_bps),
        held_s=_sync_s(moments.paths, limit_bps, sync_bytes, others_bps),
        groups=tuple(_group(ask, moments, activity, wanted_prob) for activity in (voice, video)),
        idle=_idle_path(moments, voice),
        hour=hour,
        queue_s=_queue_s(moments),
        is_floor=link.direction(DIRECTION).lower_bound_only,
        queue_source=moments.unknowns.queue_source,
        n_probes=0 if link.latency is None else link.latency.n_idle + link.latency.n_loaded,
        n_busy_probes=0 if link.latency is None else link.latency.n_loaded,
    )


def limit_to_set_bps(limits: tuple[RateLimit, ...], start_bps: float) -> float:
    """The limit that keeps all that can be kept; `start_bps` where nothing can. [bit/s]"""
    kept = [one.limit.value for one in limits if 0 < one.limit.value < np.inf]
    return min(kept, default=max(start_bps, 1.0))


def _situations(
    paths: "CapacityPaths", site: Site | None, limit_bps: float
) -> tuple[Situation, ...]:
    usual: tuple[Situation, ...] = ()
    if site is not None:
        busy = min(_load_bps(site) / max(paths.mean_rate_bps, 1.0), 1.0)
        usual = (
            Situation(name="the site's usual traffic runs", offered_bps=np.inf, busy_frac=busy),
        )
    return (
        Situation(name="nothing else is sent", offered_bps=0.0),
        *usual,
        Situation(name=NO_LIMIT, offered_bps=np.inf),
        Situation(name=f"a backup runs at {format_rate(limit_bps)}", offered_bps=limit_bps),
    )


def _load_bps(site: Site) -> float:
    """Mean rate of what the site sends in its busy hour. [bit/s]"""
    transfers = sum(flow.load_bps for flow in site_classes(site, DIRECTION))
    return transfers + site_stream_load_bps(site, DIRECTION)


def page_route(site: Site) -> Route:
    """The way of a short page from the server, as long as no queue drops any of it."""
    path = site.path
    return Route(
        tunnel_overhead_bytes=path.tunnel_overhead_bytes,
        mtu_bytes=path.mtu_bytes,
        buffer_bytes=1e12,  # the queue's drops are no matter of a short page
    )


def _sync_s(
    paths: "CapacityPaths", limit_bps: float, sync_bytes: float, others_bps: float
) -> Forecast:
    """Time of bulk data at the mean rate of each row; the site's own traffic goes first."""
    held = np.minimum(paths.rates_bps, limit_bps).mean(axis=1)
    left = np.maximum(held - others_bps, _LEAST_SHARE_FRAC * held)
    bits = sync_bytes * BITS_PER_BYTE * _WIRE_FACTOR
    times_s = np.divide(bits, left, out=np.full(left.size, np.inf), where=left > 0)
    return Forecast(draws=times_s, unit="s", world=paths.world)


def _queue_s(moments: Moments) -> Forecast:
    """Delay behind the full queue at the mean rate of each row. [s]"""
    paths = moments.paths
    mean = np.maximum(paths.rates_bps.mean(axis=1), 1.0)
    return Forecast(draws=moments.unknowns.queue_bits / mean, unit="s", world=paths.world)


def _idle_path(moments: Moments, packet: Activity) -> IdlePath:
    """Delay and loss of single packets, from the moments with nothing else sent."""
    quiet = Situation(name="", offered_bps=0.0)
    delays_s = moments.rtts_s / 2 + waits_s(moments, quiet, packet)
    delays_s = np.where(np.isfinite(delays_s), delays_s, moments.paths.horizon_s)
    world = moments.paths.world[moments.draws]
    loss = moments.unknowns.loss_frac[moments.draws]

    def variation_s(chosen: "NDArray[np.int64]") -> float:
        return float(np.quantile(delays_s[chosen], 0.999) - delays_s[chosen].min())

    delay = over_worlds(world, lambda chosen: float(delays_s[chosen].mean()))
    variation = over_worlds(world, variation_s, shrink=False)
    lost = over_worlds(world, lambda chosen: float(loss[chosen].mean()), shrink=False)
    return IdlePath(
        delay_s=delay,
        variation_s=variation,
        loss_frac=lost,
        classes=classes_met(delay.value, variation.value, lost.value),
    )


def _group(ask: _Ask, moments: Moments, activity: Activity, prob: float) -> GroupCall:
    """How many the server can relay: N (N - 1) streams out, N streams in."""
    sends = ask.limit(moments, activity, 0.0, prob).limit
    receives: Estimate | None = None
    if ask.link.down is not None:
        receives = ask.limit(ask.moments("down"), activity, 0.0, prob, "down").limit

    def n_people(which: str) -> int:
        most = largest_group(getattr(sends, which), activity.own_bps)
        if receives is not None:
            most = min(most, int(min(getattr(receives, which) / activity.own_bps, MOST_PEOPLE)))
        return min(max(most, 1), MOST_PEOPLE)

    return GroupCall(
        name=activity.name,
        n_people=n_people("value"),
        n_low=n_people("low"),
        n_high=n_people("high"),
        ways=("up",) if receives is None else ("up", "down"),
    )
