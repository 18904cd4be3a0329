"""What a direction of the link carries: averages over seconds to half an hour, and outages.

At any time, now (after the last minutes), at an hour, and in the slowest measured hour.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import positive
from linkfit.errors import InputError
from linkfit.forecast.draws import Forecast
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.ingest.trace import DIRECTIONS
from linkfit.link.gaps import sessions
from linkfit.units import SECONDS_PER_DAY, format_count

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.ingest.trace import Trace
    from linkfit.link.futures import DirectionModel
    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths
    from linkfit.link.weekly import WeeklyPattern

WINDOWS_S = (1, 10, 60, 300, 1800)
# none in a time T: more than 3 / T would have shown one with 95 % (the "rule of three": a Poisson
# count of mean 3 is 0 with 5 %); common practice
_RULE_OF_THREE = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class AverageRate:
    """Rate averaged over `window_s` from a moment on; `below`: share of moments under a limit."""

    window_s: int
    rate: Forecast
    below: Estimate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OutageTimes:
    """How much of the time is outage [fraction], how often [1/day] and how long [s].

    `mean_s` is None where no future has an outage; `most_per_day` is then the most that fits
    with having seen none. [1/day]
    """

    share: Estimate
    per_day: Estimate
    mean_s: Estimate | None
    most_per_day: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """The capacity at one kind of moment: "any time", "now", "at", "slowest hour"."""

    when: str
    hour: float | None
    hour_was_measured: bool | None
    averages: tuple[AverageRate, ...]
    outages: OutageTimes


@dataclass(frozen=True, slots=True, kw_only=True)
class DirectionCapacity:
    """One direction: every moment asked for, and why there is no slowest hour if there is none.

    Where only lower bounds were measured there are no moments but `at_least_bps`, what was
    carried at the busiest. [bit/s at the IP layer]
    """

    direction: str
    moments: tuple[Moment, ...]
    no_slowest_hour: str | None
    at_least_bps: float | None
    weekly: "WeeklyPattern"
    timezone: str
    measured_s: float
    longest_s: float
    n_tests: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacity:
    """Both directions, as far as they were measured."""

    up: DirectionCapacity | None
    down: DirectionCapacity | None
    below_bps: float | None
    missing: tuple[str, ...] = field(default=())


def forecast_capacity(
    link: "LinkModel",
    *,
    hour: float | None = None,
    recent: "Trace | None" = None,
    recent_age_s: float = 0.0,
    below_bps: float | None = None,
    n_draws: int = 2000,
    n_worlds: int = 40,
    seed: int = 0,
) -> Capacity:
    """What the link carries at the IP layer, at any time and at the moments asked for.

    Parameters
    ----------
    link : LinkModel
        Of the measurements.
    hour : float, optional
        Local hour of the day that is asked for besides. [h]
    recent : Trace, optional
        The last minutes: adds what the link carries from now on, in the directions it holds;
        they ended `recent_age_s` ago. [s]
    below_bps : float, optional
        Adds the share of moments whose average is less. [bit/s]
    n_draws, n_worlds : int
        Futures, and draws of what is unknown of the link, for each moment.

    Raises
    ------
    InputError
        If a number is out of range, or `recent` holds no direction that `link` has.

    Notes
    -----
    Each future is one moment: its averages are those of its first 1, 10, ... 1800 seconds. The
    same seed for every moment, so that a difference comes from the moment. An outage is a second
    below the share of the median that the fit calls one; its mean length is the share of outage
    over the rate at which outages begin, which holds for outages that a future cuts off too.
    """
    if below_bps is not None:
        below_bps = positive("below_bps", below_bps)
    asked = _Asked(hour, recent, recent_age_s, below_bps, n_draws, n_worlds, seed)
    known = [name for name in DIRECTIONS if getattr(link, name) is not None]
    if recent is not None and not any(_holds(recent, name) for name in known):
        raise InputError(
            f"recent: expected samples of {' or '.join(known)}, as the link was measured, got none"
        )
    found = {name: _direction(link, name, asked) for name in known}
    return Capacity(
        up=found.get("up"), down=found.get("down"), below_bps=below_bps, missing=link.missing
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    hour: float | None
    recent: "Trace | None"
    recent_age_s: float
    below_bps: float | None
    n_draws: int
    n_worlds: int
    seed: int


def _direction(link: "LinkModel", direction: str, asked: _Asked) -> DirectionCapacity:
    """Every moment of one direction."""
    model = link.direction(direction)
    if model.lower_bound_only:
        return _described(model, direction, at_least_bps=model.mean_rate_bps)
    moments = [_moment(link, direction, asked, when="any time")]
    if asked.recent is not None and _holds(asked.recent, direction):
        moments.append(_moment(link, direction, asked, when="now", recent=asked.recent))
    if asked.hour is not None:
        moments.append(_moment(link, direction, asked, when="at", hour=asked.hour))
    slowest, reason = slowest_known_hour(model)
    if slowest is not None:
        middle = slowest + 0.25  # half an hour from there on is the middle of the hour
        moments.append(_moment(link, direction, asked, when="slowest hour", hour=middle))
    return _described(model, direction, moments=tuple(moments), no_slowest_hour=reason)


def _described(
    model: "DirectionModel",
    direction: str,
    *,
    moments: tuple[Moment, ...] = (),
    no_slowest_hour: str | None = "only lower bounds were measured",
    at_least_bps: float | None = None,
) -> DirectionCapacity:
    """What is said of a direction, with how much it was measured."""
    return DirectionCapacity(
        direction=direction,
        moments=moments,
        no_slowest_hour=no_slowest_hour,
        at_least_bps=at_least_bps,
        weekly=model.weekly,
        timezone=model.daily.timezone,
        measured_s=model.measured_s,
        longest_s=float(np.diff(sessions(model.runs)).max()),
        n_tests=model.n_tests,
    )


def slowest_known_hour(model: "DirectionModel") -> tuple[int | None, str | None]:
    """Local hour with the lowest factor among those with data enough, or why there is none. [h]"""
    daily = model.daily
    if daily.n_days == 0:
        return None, "no time of day was measured"
    if not daily.found:
        return None, f"no daily pattern was found in {format_count(daily.n_days, 'day')}"
    hours = np.array(daily.hours_known, dtype=np.int64)
    if not hours.size:
        return None, "no hour of the day was measured for more than minutes"
    return int(hours[np.argmin(daily.factor[hours])]), None


def _moment(
    link: "LinkModel",
    direction: str,
    asked: _Asked,
    *,
    when: str,
    hour: float | None = None,
    recent: "Trace | None" = None,
) -> Moment:
    """Averages and outages of futures that start at one kind of moment."""
    model = link.direction(direction)
    paths = link.paths(
        direction,
        horizon_s=float(WINDOWS_S[-1]),
        n_draws=asked.n_draws,
        n_worlds=asked.n_worlds,
        rng=np.random.default_rng(asked.seed),
        hour=hour,
        recent=recent,
        recent_age_s=asked.recent_age_s if recent is not None else 0.0,
    )
    has_clock = model.daily.n_days > 0
    return Moment(
        when=when,
        hour=hour if hour is None or when == "at" else float(int(hour)),
        hour_was_measured=bool(model.daily.measured_s[int(hour) % 24] > 0)
        if hour is not None and has_clock
        else None,
        averages=tuple(_average(paths, window_s, asked.below_bps) for window_s in WINDOWS_S),
        outages=_outages(paths, model),
    )


def _average(paths: "CapacityPaths", window_s: int, below_bps: float | None) -> AverageRate:
    """The mean rate of each future's first seconds."""
    n_steps = round(window_s / paths.step_s)
    rates_bps = paths.cumulative_bits[:, n_steps] / window_s
    below = None
    if below_bps is not None:
        is_below = rates_bps < below_bps
        below = over_worlds(paths.world, lambda rows: float(is_below[rows].mean()))
    rate = Forecast(draws=rates_bps, unit="bit/s", world=paths.world)
    return AverageRate(window_s=window_s, rate=rate, below=below)


def _outages(paths: "CapacityPaths", model: "DirectionModel") -> OutageTimes:
    """Seconds of outage in the futures, and how many begin."""
    is_out = (
        np.diff(paths.cumulative_bits, axis=1) / paths.step_s <= model.marginal.outages.below_bps
    )
    share = is_out.mean(axis=1)
    begins_per_day = (is_out[:, 1:] & ~is_out[:, :-1]).mean(axis=1) / paths.step_s * SECONDS_PER_DAY

    def mean_s(rows: "NDArray[np.int64]") -> float:
        return _mean_length_s(share[rows], begins_per_day[rows]) or all_s

    all_s = _mean_length_s(share, begins_per_day)
    return OutageTimes(
        share=over_worlds(paths.world, lambda rows: float(share[rows].mean())),
        per_day=over_worlds(paths.world, lambda rows: float(begins_per_day[rows].mean())),
        mean_s=over_worlds(paths.world, mean_s, shrink=False) if all_s else None,
        most_per_day=None if all_s else _RULE_OF_THREE / model.measured_s * SECONDS_PER_DAY,
    )


def _mean_length_s(share: "NDArray[np.float64]", begins_per_day: "NDArray[np.float64]") -> float:
    """Share of outage over the rate at which outages begin; 0 where none begins. [s]"""
    per_day = float(begins_per_day.mean())
    return float(share.mean()) / per_day * SECONDS_PER_DAY if per_day else 0.0


def _holds(recent: "Trace", direction: str) -> bool:
    """Are there samples or transfers of `direction`?"""
    is_up = direction == "up"
    ways = (recent.throughput.is_up == is_up, recent.transfers.is_up == is_up)
    return any(bool(way.any()) for way in ways)
