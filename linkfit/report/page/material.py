"""All forecasts that a report tells of, made once, from the same futures of the link."""

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.advice.advise import Advice, advise
from linkfit.forecast.backlog import forecast_backlog
from linkfit.forecast.burn_down import BurnDown, burn_down
from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.capacity import Capacity, forecast_capacity
from linkfit.forecast.data_answer import DataAnswer, answer_data
from linkfit.forecast.data_fan import DataFan, data_fan
from linkfit.forecast.draws import Forecast
from linkfit.forecast.energy import SiteEnergy, site_energy
from linkfit.forecast.evaluation import Evaluator
from linkfit.forecast.interactive_short import ShortInteractive, interactive_short
from linkfit.forecast.outcomes import BacklogForecast, Evaluation, ServiceForecast
from linkfit.forecast.path_source import backlog_paths
from linkfit.forecast.shares import WAYS
from linkfit.forecast.transfer import predict_transfer
from linkfit.forecast.user_limits import bears_load
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.link.model import LinkModel
from linkfit.report.advice_json import advice_record
from linkfit.report.page.grid import Grid, payload_grid
from linkfit.site.model import Service, Site, Task

if TYPE_CHECKING:
    from numpy.typing import NDArray

PAYLOADS_BYTES = (1e4, 1e5, 3e5, 1e6, 3e6, 1e7, 3e7, 1e8, 1e9)
USERS = (1, 2, 5, 10, 20, 50, 100)
MOST_SERVICES = 4
PLAN_FRAC, ACT_FRAC = 0.7, 0.8  # of what the link carries: when to plan, when to act
_N_DRAWS = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class UserLine:
    """The time of a service's tightest task against the number of its users."""

    service: Service
    task: Task
    points: tuple[tuple[int, Forecast], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What the site asks of one direction in the busy hour, of what the direction carries."""

    direction: str
    busy: Estimate
    rate: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class BacklogStory:
    """One backlog with what holds it back, and how it goes down (None: nothing is known)."""

    forecast: BacklogForecast
    burn: BurnDown | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Everything that a report tells of."""

    site: Site
    link: LinkModel
    seed: int
    start: date | None
    hour: float | None
    advice: Advice
    record: dict[str, Any]
    capacity: Capacity
    payloads: dict[str, tuple[tuple[float, Forecast], ...]]
    users: tuple[UserLine, ...]
    uses: tuple[Use, ...]
    data: DataAnswer
    fan: DataFan
    backlogs: tuple[BacklogStory, ...]
    grid: Grid | None
    energy: SiteEnergy | None = None
    interactive: ShortInteractive | None = None


def gather(site: Site, link: LinkModel, *, seed: int = 0, start: date | None = None) -> Material:
    """All forecasts of `site` on `link` that a report needs.

    Raises
    ------
    FitError
        If the site needs a direction of the link that was never measured.
    """
    evaluator = Evaluator(link, seed=seed, start=start)
    advice = advise(site, link, seed=seed, start=start, evaluator=evaluator)
    hour = evaluator.busy_hour(site)
    rates = {way: link.direction(way).mean_rate_bps for way in measured(link)}
    data = answer_data(site, seed=seed, mean_rates_bps=rates, start=start)
    return Material(
        site=site,
        link=link,
        seed=seed,
        start=start,
        hour=evaluator.hour_of(site),
        advice=advice,
        record=advice_record(advice, link),
        capacity=forecast_capacity(link, seed=seed, n_draws=_N_DRAWS, n_worlds=20),
        payloads={way: _payloads(link, way, seed) for way in measured(link)},
        users=_user_lines(evaluator, advice.before, hour),
        uses=tuple(_use(hour, way) for way in hour.paths),
        data=data,
        fan=data_fan(data.data, seed=seed),
        backlogs=_backlogs(advice.before, link, seed, start),
        grid=payload_grid(site, evaluator),
        energy=site_energy(site, link, seed=seed),
        interactive=interactive_short(link, site, seed=seed),
    )


def measured(link: LinkModel) -> tuple[str, ...]:
    """Directions of `link` that were measured."""
    return tuple(way for way in ("up", "down") if getattr(link, way) is not None)


def _payloads(link: LinkModel, way: str, seed: int) -> tuple[tuple[float, Forecast], ...]:
    """The time of one payload on a connection that has to be made, the link being free."""
    return tuple(
        (
            size,
            predict_transfer(
                link, size_bytes=size, direction=way, n_draws=_N_DRAWS, seed=seed,
                handshake_round_trips=2, usual_rtt=True,
            ),
        )
        for size in PAYLOADS_BYTES
    )  # fmt: skip


def _user_lines(
    evaluator: Evaluator, evaluation: Evaluation, hour: BusyHour
) -> tuple[UserLine, ...]:
    """For the services nearest to their targets: the time of the tightest task by users."""
    site = evaluation.site
    found: list[tuple[float, Service, Task]] = []
    for of_service in evaluation.services:
        tight = _tightest(of_service, site)
        if tight is not None:
            found.append((tight[0], of_service.service, tight[1]))
    chosen = sorted(found, key=lambda one: -one[0])[:MOST_SERVICES]
    lines = []
    for _, service, task in chosen:
        curve = evaluator.curve(task, service, site.path, hour)
        numbers = sorted({*USERS, max(service.n_users, 1)})
        points = tuple((n, curve.time(n)) for n in numbers)
        lines.append(UserLine(service=service, task=task, points=points))
    return tuple(lines)


def _tightest(of_service: ServiceForecast, site: Site) -> tuple[float, Task] | None:
    """The promised task that is latest against its target, of those that users slow."""
    late = [
        (float(one.time.quantile(0.95)) / one.task.target_s, one.task)
        for one in of_service.tasks
        if one.task.target_s and one.task.must_carry and not one.unmeasured and not one.refused
        and bears_load(one.task, of_service.service, site.path)
    ]  # fmt: skip
    return max(late, key=lambda pair: pair[0], default=None)


def _use(hour: BusyHour, way: str) -> Use:
    """Load over capacity of one direction, with its interval over the worlds."""
    paths = hour.paths[way]
    load_bps = sum(flow.load_bps for flow in hour.classes[way]) + hour.stream_bps[way]
    rates_bps = paths.cumulative_bits[:, -1] / paths.horizon_s

    def rate(rows: "NDArray[np.int64]") -> float:
        return float(rates_bps[rows].mean())

    def busy(rows: "NDArray[np.int64]") -> float:
        return load_bps / max(rate(rows), 1e-9)

    return Use(
        direction=way, busy=over_worlds(paths.world, busy), rate=over_worlds(paths.world, rate)
    )


def _backlogs(
    evaluation: Evaluation, link: LinkModel, seed: int, start: date | None
) -> tuple[BacklogStory, ...]:
    site = evaluation.site
    ways = {way for one in site.backlogs for way in WAYS[one.flow]} & set(measured(link))
    paths = {way: backlog_paths(link, (way,), seed=seed)[way] for way in sorted(ways)}
    stories = []
    for found in evaluation.backlogs:
        if found.unmeasured:
            stories.append(BacklogStory(forecast=found, burn=None))
            continue
        priced = forecast_backlog(
            site, found.backlog, link, seed=seed, start=start, paths=paths,
            binding=False, prices=True,
        )  # fmt: skip
        whole = replace(found, easings=priced.easings)
        burn = burn_down(site, found.backlog, link, paths, seed=seed, start=start)
        stories.append(BacklogStory(forecast=whole, burn=burn))
    return tuple(stories)
