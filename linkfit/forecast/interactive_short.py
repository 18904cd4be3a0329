"""Interactive work of a site in short, from few futures: what its own services need of the link.

The same questions as `linkfit.forecast.interactive_forecast`, of the activities that the site's
services have, in a fraction of the time; its numbers are therefore a little coarser.
"""

import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.activities import Activity, key_echo, video_call, voice_call
from linkfit.forecast.busy_hour import slowest_hour
from linkfit.forecast.interactive import (
    SURE_FRAC,
    Cell,
    Moments,
    Situation,
    draw_moments,
    judge,
    judge_page,
)
from linkfit.forecast.interactive_forecast import (
    DIRECTION,
    NO_LIMIT,
    limit_to_set_bps,
    page_route,
)
from linkfit.forecast.latency_unknowns import draw_unknowns
from linkfit.forecast.rate_limits import (
    RateLimit,
    activity_room_bits,
    independent_samples,
    largest_limit,
    start_limit_bps,
)
from linkfit.site.model import Site
from linkfit.units import SECONDS_PER_HOUR, format_rate

if TYPE_CHECKING:
    from linkfit.link.model import LinkModel

PAGE_KINDS = ("web-site", "web-app")
SHELL_KIND, CALLS_KIND = "remote-shell", "calls"
NOTHING_ELSE = "nothing else is sent"
N_DRAWS, N_WORLDS, N_MOMENTS, N_PAGES = 80, 20, 4000, 300


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortInteractive:
    """Activities of a site in three situations, and the rate limit that keeps them good.

    Parameters
    ----------
    cells : tuple of Cell
        Each activity while nothing else is sent, while a backup sends all it can, and while it
        runs at `limit_bps`.
    limits : tuple of RateLimit
        The largest for key echo and calls, where the site has them.
    limit_bps : float
        The smallest of them that is needed; that of common practice where none can be kept or
        the site has pages alone. [bit/s]
    hour : int or None
        Local hour that all of it holds for; None: any time that was measured.
    queue_source : str
        Where the queue before the link comes from.
    is_floor : bool
        Nobody ever tried for all that the link carries.
    """

    cells: tuple[Cell, ...]
    limits: tuple[RateLimit, ...]
    limit_bps: float
    hour: int | None
    queue_source: str
    is_floor: bool


def site_activities(site: Site) -> tuple[Activity, ...]:
    """What people do on `site` that a late packet spoils, pages apart."""
    kinds = {service.kind for service in site.services}
    tunnel_bytes = site.path.tunnel_overhead_bytes
    found = []
    if SHELL_KIND in kinds:
        found.append(key_echo(tunnel_bytes=tunnel_bytes))
    if CALLS_KIND in kinds:
        found += [voice_call(tunnel_bytes), video_call(tunnel_bytes)]
    return tuple(found)


def interactive_short(
    link: "LinkModel", site: Site, *, seed: int = 0, n_draws: int = N_DRAWS
) -> ShortInteractive | None:
    """Key echo, pages and calls of `site`, as far as it has them; None where it has none.

    Parameters
    ----------
    n_draws : int
        Futures of the link's way up, of an hour each.

    Notes
    -----
    None, too, where the way up was never measured.
    """
    activities = site_activities(site)
    has_pages = any(service.kind in PAGE_KINDS for service in site.services)
    if link.up is None or not (activities or has_pages):
        return None
    hour = slowest_hour(link, site.hours)
    moments = _moments(link, site, hour, seed, n_draws)
    limits = tuple(_limit(link, site, moments, activity, seed) for activity in activities)
    limit_bps = limit_to_set_bps(limits, start_limit_bps(moments.paths))
    cells: list[Cell] = []
    for situation in _situations(limit_bps):
        cells += [judge(moments, situation, activity) for activity in activities]
        if has_pages:
            rng = _rng(seed, "pages")
            cells.append(judge_page(moments, situation, page_route(site), rng, n_pages=N_PAGES))
    return ShortInteractive(
        cells=tuple(cells),
        limits=limits,
        limit_bps=limit_bps,
        hour=hour,
        queue_source=moments.unknowns.queue_source,
        is_floor=link.up.lower_bound_only,
    )


def _rng(seed: int, name: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def _moments(link: "LinkModel", site: Site, hour: int | None, seed: int, n_draws: int) -> Moments:
    """Random moments of the way up in the slowest hour."""
    paths = link.paths(
        DIRECTION, horizon_s=SECONDS_PER_HOUR, n_draws=n_draws, n_worlds=N_WORLDS, hour=hour,
        rng=_rng(seed, f"paths {DIRECTION}"),
    )  # fmt: skip
    unknowns = draw_unknowns(link, DIRECTION, paths.world, _rng(seed, f"unknowns {DIRECTION}"))
    return draw_moments(
        link, paths, unknowns, _rng(seed, "moments"), n_moments=N_MOMENTS,
        relay_rtt_s=_relay_rtt_s(site),
    )  # fmt: skip


def _relay_rtt_s(site: Site) -> float:
    return site.path.relay_rtt_s if site.path.entry == "relay" else 0.0


def _limit(
    link: "LinkModel", site: Site, moments: Moments, activity: Activity, seed: int
) -> RateLimit:
    room = activity_room_bits(
        moments.paths, moments.unknowns, activity, link, _rng(seed, "room"),
        relay_rtt_s=_relay_rtt_s(site),
    )  # fmt: skip
    return largest_limit(
        moments.paths, moments.unknowns, room, name=activity.name, good=activity.good,
        own_bps=activity.own_bps, wanted_prob=SURE_FRAC,
        n_independent=independent_samples(link.direction(DIRECTION)),
    )  # fmt: skip


def _situations(limit_bps: float) -> tuple[Situation, ...]:
    return (
        Situation(name=NOTHING_ELSE, offered_bps=0.0),
        Situation(name=NO_LIMIT, offered_bps=np.inf),
        Situation(name=f"a backup runs at {format_rate(limit_bps)}", offered_bps=limit_bps),
    )
