"""What battery and panel carry: hours up in each month, energy for a GB, what a change brings."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.demand import crossing
from linkfit.forecast.draws import Forecast
from linkfit.forecast.path_source import named_rng
from linkfit.forecast.power import HOURS_PER_DAY, has_sun, hours_under, stored_wh, sun_factors
from linkfit.link.paths import CapacityPaths
from linkfit.site.hours import MONTHS, Power
from linkfit.site.model import PathLimits, Site
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_HOUR

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.link.model import LinkModel

SUN_YEAR_SIGMA = 0.15  # a month's sun from year to year (log scale): common practice, a guess
YIELD_SIGMA = 0.10  # what a panel yields against what it is said to: common practice, a guess
_SETTLE_DAYS = 45  # until the first charge of the battery no longer shows
_MONTH_DAYS = 30
_N_WORLDS = 40  # years and panels
_N_DRAWS = 10  # of each
_GB = 1e9
_LOOK_S, _N_PATHS = 3600.0, 400  # futures of the link behind the energy for a GB


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthHours:
    """Hours up a day in one month (None: the mean day of the year).

    `days`: single days, as they come; `mean`: the month's mean, over years and panels;
    `prob_whole_day`: chance that a day has no gap. Unit "h".
    """

    month: int | None
    sun_hours: float
    days: Forecast
    mean: Forecast
    prob_whole_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoursGain:
    """Hours a day that one change alone brings, in the mean of the month; unit "h"."""

    what: str
    gain: Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class GbEnergy:
    """Energy to move a GB of payload one way: of the whole machine while it moves, and what the
    moving adds to a machine that is up anyway (None: `load_busy` is not known). Unit "Wh".
    """

    direction: str
    whole: Forecast
    added: Forecast | None


def month_hours(power: Power, month: int | None, *, seed: int = 0) -> MonthHours:
    """Hours up a day in `month` (1 to 12), long after the battery's first charge.

    Notes
    -----
    Days differ by `SUN_DAY_SIGMA`, a month's mean from year to year by `SUN_YEAR_SIGMA`, and
    panels by `YIELD_SIGMA` (lognormal; common practice, not measured here). A world is one year
    with one panel.
    """
    hours, world = _hours(power, month, seed)
    every = np.repeat(world, hours.shape[1])
    return MonthHours(
        month=month,
        sun_hours=power.sun_hours_in(month),
        days=Forecast(draws=hours.reshape(-1), unit="h", world=every),
        mean=Forecast(draws=hours.mean(axis=1), unit="h", world=world),
        prob_whole_day=float(np.mean(hours >= HOURS_PER_DAY - 1e-9)),
    )


def _hours(
    power: Power, month: int | None, seed: int
) -> "tuple[NDArray[np.float64], NDArray[np.int32]]":
    """Hours up of each day, shape (d, t), and the world of each future."""
    world = np.repeat(np.arange(_N_WORLDS, dtype=np.int32), _N_DRAWS)
    level = year_levels(seed, _N_WORLDS)
    n_days = _SETTLE_DAYS + _MONTH_DAYS
    factors = np.concatenate(
        [
            level[number] * sun_factors(n_days, _N_DRAWS, named_rng(seed, "days", str(number)))
            for number in range(_N_WORLDS)
        ]
    )
    return hours_under(power, factors, [month] * n_days)[:, _SETTLE_DAYS:], world


def year_levels(seed: int, n_worlds: int) -> "NDArray[np.float64]":
    """Sun of a year by its panel over what is stated, for each world; shape (w,). [1]"""
    sigma = float(np.hypot(SUN_YEAR_SIGMA, YIELD_SIGMA))
    return np.exp(sigma * named_rng(seed, "sun of the year").standard_normal(n_worlds))


def all_months(power: Power, *, seed: int = 0) -> tuple[MonthHours, ...]:
    """Each month where they are known apart, else the mean day of the year."""
    months: Sequence[int | None] = range(1, MONTHS + 1) if power.sun_hours_by_month else [None]
    return tuple(month_hours(power, month, seed=seed) for month in months)


def battery_alone_h(power: Power, load_w: float | None = None) -> float:
    """Hours that a full battery carries `load_w` (the mean load) without sun. [h]"""
    return stored_wh(power) / (power.load_w if load_w is None else load_w)


def hours_gains(power: Power, month: int | None, *, seed: int = 0) -> tuple[HoursGain, ...]:
    """What a lower load, a larger panel or battery alone bring, with the same sun; most first."""
    tried: list[tuple[str, Callable[[Power], Power]]] = [
        ("load 1 W lower", lambda p: replace(p, load_w=p.load_w - 1.0, load_busy_w=None)),
        ("load halved", lambda p: replace(p, load_w=p.load_w / 2, load_busy_w=None)),
        ("battery twice as large", lambda p: replace(p, battery_wh=2 * p.battery_wh)),
    ]
    if power.load_w <= 2.0:
        tried = tried[1:]
    if has_sun(power):
        tried += [
            ("panel 50 W larger", lambda p: replace(p, panel_w=p.panel_w + 50.0)),
            ("panel twice as large", lambda p: replace(p, panel_w=2 * p.panel_w)),
        ]
    before, world = _hours(power, month, seed)
    gains = []
    for what, change in tried:
        after, _ = _hours(change(power), month, seed)
        draws = (after - before).mean(axis=1)
        gains.append(HoursGain(what=what, gain=Forecast(draws=draws, unit="h", world=world)))
    return tuple(sorted(gains, key=lambda one: -float(one.gain.quantile(0.5))))


def gb_energy(power: Power, path: PathLimits, direction: str, paths: CapacityPaths) -> GbEnergy:
    """Energy for a GB (1e9 bytes) of payload at the rates of `paths`.

    Parameters
    ----------
    direction : {"up", "down"}
        Of the link.
    paths : CapacityPaths
        Futures of that direction; each counts with its mean rate.

    Notes
    -----
    Time = payload x headers / rate; energy = draw x time / converter. The load's draw is that of
    the battery's terminals times the converter's efficiency.
    """
    flow = {"up": "out", "down": "in"}[direction]
    wire = crossing(path, flow)
    bits = _GB * BITS_PER_BYTE * max(wire.up_factor, wire.down_factor)
    hours = bits / np.maximum(paths.rates_bps.mean(axis=1), 1e-9) / SECONDS_PER_HOUR
    busy_w = power.load_w if power.load_busy_w is None else power.load_busy_w

    def energy(draw_w: float) -> Forecast:
        return Forecast(draws=draw_w * hours / power.output_frac, unit="Wh", world=paths.world)

    added = None if power.load_busy_w is None else energy(power.load_busy_w - power.load_w)
    return GbEnergy(direction=direction, whole=energy(busy_w), added=added)


def link_energies(
    power: Power, path: PathLimits, link: "LinkModel", *, seed: int = 0
) -> tuple[GbEnergy, ...]:
    """Energy for a GB of payload in each direction of `link` that was measured."""
    found = []
    for way in ("up", "down"):
        if getattr(link, way) is not None:
            rng = named_rng(seed, "energy", way)
            paths = link.paths(way, horizon_s=_LOOK_S, n_draws=_N_PATHS, rng=rng)
            found.append(gb_energy(power, path, way, paths))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteEnergy:
    """Battery and panel of a site: each month, what changes bring in the worst, a GB's energy."""

    power: Power
    months: tuple[MonthHours, ...]
    worst: MonthHours
    gains: tuple[HoursGain, ...]
    energies: tuple[GbEnergy, ...]

    def day_wh(self, month: MonthHours) -> Forecast:
        """What the server takes out of battery and panel on a single day of `month`. [Wh]"""
        draw_w = self.power.load_w / self.power.output_frac
        return Forecast(draws=month.days.draws * draw_w, unit="Wh", world=month.days.world)


def site_energy(site: Site, link: "LinkModel", *, seed: int = 0) -> SiteEnergy | None:
    """All that can be said of the energy of `site` on `link`; None without battery and panel."""
    power = site.hours.power
    if power is None:
        return None
    months = all_months(power, seed=seed)
    worst = min(months, key=lambda one: float(one.mean.quantile(0.5)))
    return SiteEnergy(
        power=power,
        months=months,
        worst=worst,
        gains=hours_gains(power, worst.month, seed=seed),
        energies=link_energies(power, site.path, link, seed=seed),
    )
