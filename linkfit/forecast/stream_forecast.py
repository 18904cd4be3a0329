"""Streams on one link: how each rate plays, how many viewers fit, and live cameras."""

import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import fraction, positive
from linkfit.forecast.busy_hour import slowest_hour
from linkfit.forecast.cameras import FEEDS, watching_time_s
from linkfit.forecast.data_use import (
    N_DRAWS,
    PROTOCOL_FACTOR,
    forecast_data,
    rounded_bytes_per_day,
)
from linkfit.forecast.demand import forward_factor
from linkfit.forecast.draws import Forecast
from linkfit.forecast.hours import open_frac, site_intervals
from linkfit.forecast.hours_assumed import hours_assumed
from linkfit.forecast.load import site_classes
from linkfit.forecast.rate_limits import crossing_bps
from linkfit.forecast.sharing import spread_rows
from linkfit.forecast.stalls import FILM, LIVE, Player, Watching, watch
from linkfit.forecast.streams import offered_erlangs
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.site.model import PathLimits, Site
from linkfit.site.plan import Plan
from linkfit.units import DAYS_PER_MONTH, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

DIRECTION = "up"  # the server sends
LADDER = (("360p", 700e3), ("480p", 1.2e6), ("720p", 2.5e6), ("1080p", 5e6), ("4K", 16e6))
SESSION_S, LIVE_SESSION_S = 2400.0, 300.0  # an episode, a look; common practice
WANTED_PROB = 0.95
_N_SESSIONS, _N_WORLDS, _N_RATES = 400, 20, 28
_LEAST_SHARE_FRAC = 0.05  # of a link that the site's transfers would fill
_MOST_STREAMS = 999


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamAnswer:
    """One stream of a rate, and how many of them fit at once.

    Parameters
    ----------
    rate_bps : float
        Payload. [bit/s]
    good : Estimate
        Share of good sessions of one viewer: a film without a stall, a live picture that stands
        still for at most a twentieth of the time.
    still_s_per_hour : Forecast
        Time that the picture stands still, for each hour of watching; draws are sessions. [s]
    wait_s : Forecast
        Time to the first picture; never: not within the session. [s]
    n_most, n_low, n_high : int
        Most streams at once with the wished chance of good sessions, and its interval.
    month, month_alone : Forecast or None
        Time a month under the plan's cap, beside the rest of the site and if the plan were for
        it alone; None: no cap, or not asked. [s]
    """

    name: str
    rate_bps: float
    good: Estimate
    still_s_per_hour: Forecast
    wait_s: Forecast
    n_most: int
    n_low: int
    n_high: int
    month: Forecast | None = None
    month_alone: Forecast | None = None

    def verdict(self, wanted_prob: float) -> str:
        """Word for one stream: "fits", "does not fit", "may fit" where the interval holds both."""
        if self.good.low >= wanted_prob:
            return "fits"
        return "does not fit" if self.good.high < wanted_prob else "may fit"


@dataclass(frozen=True, slots=True, kw_only=True)
class StreamForecast:
    """Films by rate and live cameras by picture and frames; `load_bps` is what else is sent.

    `is_floor`: nobody ever tried for all that the link carries, so more may fit. `plan` is the
    one that minutes a month rest on; `hours_assumed` says which sun the hours of power rest on.
    """

    films: tuple[StreamAnswer, ...]
    feeds: tuple[StreamAnswer, ...]
    wanted_prob: float
    session_s: float
    live_session_s: float
    load_bps: float
    hour: int | None
    plan: Plan
    is_floor: bool
    hours_assumed: str = ""

    @property
    def cap_bytes(self) -> float | None:
        """Of the plan, in a month. [bytes]"""
        return self.plan.cap_bytes

    def starts_per_h(self, film: StreamAnswer) -> Estimate:
        """Sessions of `film` that may start an hour, so that `wanted_prob` of them find room. [1/h]

        Notes
        -----
        Starts by chance, places as many as fit at once, and who finds none goes away: Erlang B.
        Each session takes a place for `session_s`; longer or shorter ones of that mean do alike.
        """

        def starts(n_places: int) -> float:
            if not n_places or self.wanted_prob >= 1:
                return 0.0
            running = offered_erlangs(1.0 - self.wanted_prob, n_places)
            return running * SECONDS_PER_HOUR / self.session_s

        return Estimate(value=starts(film.n_most), low=starts(film.n_low), high=starts(film.n_high))


@dataclass(frozen=True, slots=True)
class _Sessions:
    """Where and when sessions start, and how they play."""

    paths: "CapacityPaths"
    starts_s: "NDArray[np.float64]"
    draws: "NDArray[np.int64]"
    player: Player
    session_s: float
    wire_factor: float
    wanted_prob: float

    def watch(self, asked_bps: "NDArray[np.float64]") -> Watching:
        return watch(
            self.paths, self.starts_s, self.draws, asked_bps,
            player=self.player, session_s=self.session_s,
        )  # fmt: skip

    @property
    def world(self) -> "NDArray[np.int32]":
        return self.paths.world[self.draws]

    def share(self, good: "NDArray[np.bool_]") -> Estimate:
        """Share of good sessions, shape (n,), and its interval over the worlds."""
        found = over_worlds(self.world, lambda chosen: float(good[chosen].mean()))
        return Estimate(value=found.value, low=max(found.low, 0.0), high=min(found.high, 1.0))

    def answers(self, named: "tuple[tuple[str, float], ...]") -> tuple[StreamAnswer, ...]:
        """How one stream of each rate plays, and how many fit."""
        wire_bps = np.array([rate for _, rate in named]) * self.wire_factor
        top_bps = max(2.0 * self.paths.mean_rate_bps, 1e3)
        asked = np.concatenate((wire_bps, np.geomspace(top_bps / 500.0, top_bps, _N_RATES)))
        seen = self.watch(asked)
        shares = [self.share(good) for good in seen.is_good(self.player)]
        total = self.largest_total(asked, shares)
        return tuple(
            self._answer(name, rate, wire_bps[row], seen, row, shares[row], total)
            for row, (name, rate) in enumerate(named)
        )

    def largest_total(self, asked_bps: "NDArray[np.float64]", shares: list[Estimate]) -> Estimate:
        """Largest rate of all streams with enough good sessions. [bit/s at the IP layer]

        The ends are where the ends of the share's interval cross, so that the number of streams
        agrees with the verdict on one.
        """
        order = np.argsort(asked_bps)
        rates = np.concatenate(([0.0], asked_bps[order], [np.inf]))

        def crossing(which: str) -> float:
            curve = np.array([getattr(shares[i], which) for i in order.tolist()])
            return crossing_bps(rates, np.concatenate(([1.0], curve, [0.0])), self.wanted_prob)

        return Estimate(value=crossing("value"), low=crossing("low"), high=crossing("high"))

    def _answer(
        self,
        name: str,
        rate_bps: float,
        wire_bps: float,
        seen: Watching,
        row: int,
        share: Estimate,
        total: Estimate,
    ) -> StreamAnswer:
        waits = seen.wait_s[row]
        never = waits >= seen.session_s
        watched_s = np.maximum(seen.session_s - waits, self.paths.step_s)
        still = np.where(never, 1.0, seen.stalled_s[row] / watched_s) * SECONDS_PER_HOUR
        n_most, n_low, n_high = (
            min(int(bps / wire_bps * (1 + 1e-9)), _MOST_STREAMS)
            for bps in (total.value, total.low, total.high)
        )
        return StreamAnswer(
            name=name,
            rate_bps=rate_bps,
            good=share,
            still_s_per_hour=Forecast(draws=still, unit="s", world=self.world),
            wait_s=Forecast(draws=np.where(never, np.inf, waits), unit="s", world=self.world),
            n_most=n_most,
            n_low=n_low,
            n_high=n_high,
        )


def forecast_streams(
    link: "LinkModel",
    *,
    site: Site | None = None,
    cap_bytes: float | None = None,
    wanted_prob: float = WANTED_PROB,
    session_s: float = SESSION_S,
    live_session_s: float = LIVE_SESSION_S,
    seed: int = 0,
) -> StreamForecast:
    """How streams that the server sends play, how many fit, and what the plan leaves cameras.

    Parameters
    ----------
    site : Site, optional
        Its transfers go on beside the streams, its plan and other data use count; its own
        streams are left out.
    cap_bytes : float, optional
        The plan's cap a month, if not the site's. [bytes]
    wanted_prob : float
        Share of sessions that must be good, in (0, 1). [probability]
    session_s, live_session_s : float
        Length of a session and of a look at a camera. [s]

    Raises
    ------
    FitError
        If the direction up was never measured.
    """
    positive("wanted_prob", fraction("wanted_prob", wanted_prob))
    where = site or Site(name="")
    hour = None if site is None else slowest_hour(link, site.hours)
    rng = _rng(seed, "stream paths")
    paths = link.paths(
        DIRECTION, horizon_s=SECONDS_PER_HOUR, n_draws=_N_SESSIONS, rng=rng,
        n_worlds=_N_WORLDS, hour=hour,
    )  # fmt: skip
    load_bps = sum(flow.load_bps for flow in site_classes(where, DIRECTION))
    taken = load_bps / max(paths.mean_rate_bps, 1.0)
    films = _Sessions(
        paths=paths.scaled(max(1.0 - taken, _LEAST_SHARE_FRAC)),
        starts_s=rng.random(_N_SESSIONS) * SECONDS_PER_HOUR,
        draws=spread_rows(paths, _N_SESSIONS),
        player=FILM,
        session_s=session_s,
        wire_factor=forward_factor(where.path) * PROTOCOL_FACTOR,
        wanted_prob=wanted_prob,
    )
    looks = replace(films, player=LIVE, session_s=live_session_s)
    plan = where.plan if cap_bytes is None else replace(where.plan, cap_bytes=cap_bytes)
    feeds = looks.answers(tuple((feed.name, feed.rate_bps) for feed in FEEDS))
    return StreamForecast(
        films=films.answers(LADDER),
        feeds=_with_months(feeds, link, site, plan, seed),
        wanted_prob=wanted_prob,
        session_s=session_s,
        live_session_s=live_session_s,
        load_bps=load_bps,
        hour=hour,
        plan=plan,
        is_floor=link.direction(DIRECTION).lower_bound_only,
        hours_assumed=hours_assumed(where.hours),
    )


def _with_months(
    feeds: tuple[StreamAnswer, ...], link: "LinkModel", site: Site | None, plan: Plan, seed: int
) -> tuple[StreamAnswer, ...]:
    """The feeds with the time a month that the plan leaves each."""
    path = site.path if site is not None else PathLimits()
    used, share = None, 1.0
    rounded = np.zeros(N_DRAWS)
    if site is not None:
        rates = {
            way: model.mean_rate_bps
            for way, model in (("up", link.up), ("down", link.down))
            if model is not None
        }
        unrounded = replace(site, plan=replace(site.plan, round_up_bytes=None))
        used = forecast_data(unrounded, seed=seed, mean_rates_bps=rates).use
        rounded = rounded_bytes_per_day(site, seed=seed) * DAYS_PER_MONTH
        share = open_frac(site_intervals(site.hours))

    def month(feed: StreamAnswer, others: Forecast | None) -> Forecast | None:
        return watching_time_s(
            feed.rate_bps, plan, path,
            used=others, rounded_bytes=rounded, open_frac=share, rng=_rng(seed, "camera rate"),
            n_draws=N_DRAWS,
        )  # fmt: skip

    return tuple(
        replace(
            feed,
            month=None if used is None else month(feed, used),
            month_alone=month(feed, None),
        )
        for feed in feeds
    )


def _rng(seed: int, name: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(name.encode())])
