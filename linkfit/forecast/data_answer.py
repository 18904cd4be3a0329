"""Everything that `linkfit data` answers about one billing cycle, from one seed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from linkfit.forecast.data_savings import Saving, savings, unasked
from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.draws import Forecast
from linkfit.forecast.hours import open_frac, site_intervals
from linkfit.forecast.hours_assumed import hours_assumed
from linkfit.forecast.how_often import HowOften, find_task, how_often
from linkfit.forecast.outcomes import DataForecast
from linkfit.forecast.plan_sizes import PlanChance, PlanSizes, plan_chance, plan_sizes
from linkfit.forecast.used_so_far import CyclePlace, SoFar, check_used, measured_level, with_used
from linkfit.site.model import Site
from linkfit.units import DAYS_PER_MONTH

if TYPE_CHECKING:
    from linkfit.forecast.slowed import Slowed
    from linkfit.link.model import LinkModel

GIB_PER_GB = 2**30 / 1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class DataAnswer:
    """Data use of a cycle and what follows.

    `place` and `used_bytes`: where in the cycle it stands, if told. `chance` is that of its own
    cap, `chance_gib` if the plan's GB were meant as GiB (None without a cap). `unasked` are the
    bytes nobody asked for, `savings` what can go, `often` the answer about one task,
    `hours_assumed` which sun the hours of power rest on. `site` has the hours of the cycle.
    """

    site: Site
    seed: int
    data: DataForecast
    sizes: PlanSizes
    unasked: Forecast
    savings: tuple[Saving, ...]
    chance: PlanChance | None = None
    chance_gib: PlanChance | None = None
    place: CyclePlace | None = None
    used_bytes: float | None = None
    often: HowOften | None = None
    hours_assumed: str = ""
    slowed: "tuple[Slowed, ...]" = ()


def answer_data(
    site: Site,
    *,
    seed: int = 0,
    mean_rates_bps: Mapping[str, float] | None = None,
    place: CyclePlace | None = None,
    used_bytes: float | None = None,
    task: str | None = None,
    start: date | None = None,
) -> DataAnswer:
    """Data use of one cycle of `site`.

    Parameters
    ----------
    mean_rates_bps : mapping, optional
        Mean rate of "up" and "down"; bounds what backlogs can move. [bit/s]
    place : CyclePlace, optional
        The moment at which `used_bytes` of the cycle were counted; a month of 30 days if not
        given.
    task : str, optional
        "SERVICE/TASK" of which is asked how often it may happen.
    start : date, optional
        First of the days whose sun holds, where no `place` says it.

    Raises
    ------
    InputError
        If `used_bytes` cannot be, or `task` is not there.
    """
    days = DAYS_PER_MONTH if place is None else place.cycle_days
    first = start if place is None else place.start.date()
    assumed = hours_assumed(site.hours, first, round(days))
    if first is not None:
        site = replace(site, hours=site.hours.on(first, round(days)))
    forecast = partial(forecast_data, seed=seed, cycle_days=days, mean_rates_bps=mean_rates_bps)
    whole = data = forecast(site)
    saved = savings(site, whole, forecast)
    so_far = None
    if place is not None and used_bytes is not None:
        check_used(used_bytes, site.plan, place, _most_bps(site, mean_rates_bps))
        up_frac = open_frac(site_intervals(site.hours))
        level = measured_level(whole, used_bytes=used_bytes, place=place, seed=seed)
        so_far = SoFar(place=place, used_bytes=used_bytes, level=level)
        data = with_used(whole, site.plan, so_far, up_frac=up_frac, seed=seed)
        saved = tuple(replace(one, saved=level.applied(one.saved)) for one in saved)
    needed = data.cap_needed or data.use
    chance = chance_gib = None
    if site.plan.cap_bytes is not None:
        chance = plan_chance(needed, site.plan.cap_bytes)
        chance_gib = plan_chance(needed, site.plan.cap_bytes * GIB_PER_GB)
    often = None
    if task is not None:
        often = how_often(site, *find_task(site, task), forecast, so_far=so_far, seed=seed)
    return DataAnswer(
        site=site,
        seed=seed,
        data=data,
        sizes=plan_sizes(data),
        unasked=unasked(data),
        savings=saved,
        chance=chance,
        chance_gib=chance_gib,
        place=place,
        used_bytes=used_bytes,
        often=often,
        hours_assumed=assumed,
    )


def with_slowed(answer: DataAnswer, link: "LinkModel", rates_bps: Sequence[float]) -> DataAnswer:
    """The answer with what still works at each of `rates_bps`."""
    from linkfit.forecast.evaluation import Evaluator
    from linkfit.forecast.slowed import slowed

    evaluator = Evaluator(link, seed=answer.seed)
    found = tuple(slowed(answer.site, evaluator, rate) for rate in rates_bps)
    return replace(answer, slowed=found)


def _most_bps(site: Site, mean_rates_bps: Mapping[str, float] | None) -> float | None:
    """Mean rate of the directions that the plan counts; None if one was not measured. [bit/s]"""
    ways = ("up", "down") if site.plan.counted == "both" else (site.plan.counted,)
    if mean_rates_bps is None or any(way not in mean_rates_bps for way in ways):
        return None
    return sum(mean_rates_bps[way] for way in ways)
