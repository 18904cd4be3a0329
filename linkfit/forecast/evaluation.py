"""evaluate: all forecasts of one Site on one LinkModel, from one seed."""

import zlib
from collections.abc import Collection, Hashable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit._checks import count
from linkfit.forecast.busy_hour import BusyHour, slowest_hour
from linkfit.forecast.company import Company
from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.draws import Forecast
from linkfit.forecast.hours_assumed import hours_assumed, hours_up
from linkfit.forecast.kept_backlogs import KeptBacklogs
from linkfit.forecast.load import directions, site_classes, site_streams
from linkfit.forecast.meets import Meets
from linkfit.forecast.outcomes import Evaluation, ServiceForecast, TaskForecast
from linkfit.forecast.task_times import task_draws
from linkfit.forecast.unanswered import refusal, unmeasured_task
from linkfit.forecast.user_limits import UserCurve, UserLimit, bears_load
from linkfit.site.hours import Hours
from linkfit.site.model import PathLimits, Service, Site, Task
from linkfit.units import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from datetime import date

    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

LEAST_WORLDS = 10
PROBES_PER_WORLD = 40  # with fewer a world has no 95th percentile of its own to speak of
SAME_LOAD_FRAC = 0.01  # company that differs by less leaves times and days where they are
_THROTTLED_PROBES = 100
_MONTH_DAYS = 30  # of the sun from the first day on
_BOTH = ("up", "down")


def stream_seed(seed: int, *names: str) -> np.random.Generator:
    """A generator of its own for each named purpose: common random numbers across edits."""
    keys = [zlib.crc32(name.encode()) for name in names]
    return np.random.default_rng(np.random.SeedSequence([seed, *keys]))


class Evaluator:
    """Evaluates many Sites on one LinkModel with common random numbers.

    The link's futures are drawn once; what an edit leaves alone is not computed again (the
    results are kept by the frozen values they depend on).

    Parameters
    ----------
    link : LinkModel
        The link as measured.
    seed : int
        Of every draw.
    n_probes : int
        Runs looked at for each task.
    hour : float, optional
        Local hour for which the verdicts hold; the slowest measured one in which the site is
        up if not given, or any time where no daily pattern was found.
    start : date, optional
        First day of the backlogs, and of the days whose sun holds; deadlines need it.
    """

    def __init__(
        self,
        link: "LinkModel",
        *,
        seed: int = 0,
        n_probes: int = 400,
        hour: float | None = None,
        start: "date | None" = None,
    ) -> None:
        self.link, self.seed, self.start = link, seed, start
        self.n_probes = count("n_probes", n_probes)
        self.n_worlds = max(LEAST_WORLDS, n_probes // PROBES_PER_WORLD)
        self.hour = hour
        self._kept: dict[Hashable, Any] = {}
        self._timed: dict[Hashable, list[tuple[Meets, Forecast]]] = {}
        self._alone: dict[Hashable, dict[Hashable, Any]] = {}
        self._data_kept: dict[Hashable, Any] = {}
        self._backlogs = KeptBacklogs(link, seed=seed, start=start, data_kept=self._data_kept)
        company_seed = int(stream_seed(seed, "company").integers(2**63))
        self._company = Company(max(n_probes, _THROTTLED_PROBES), company_seed)

    def evaluate(
        self,
        site: Site,
        *,
        limits: bool = True,
        exact: bool | None = None,
        users: bool | Collection[str] | None = None,
    ) -> Evaluation:
        """All forecasts of `site`.

        Parameters
        ----------
        limits : bool
            Also the largest number of users of each task, and what works at the throttled rate.
            A search over many sites does without.
        exact : bool, optional
            False: a task whose company changed by less than a hundredth of the capacity keeps
            its times, and backlogs likewise their days. As `limits` if not given.
        users : bool or collection of str, optional
            The largest numbers of users, which cost most of all; of these services only. As
            `limits` if not given.
        """
        exact = limits if exact is None else exact
        users = limits if users is None else users
        hour = self.busy_hour(site)
        services = tuple(
            self._service(
                service,
                site,
                hour,
                throttled=limits,
                exact=exact,
                users=users if isinstance(users, bool) else service.name in users,
            )
            for service in site.services
        )
        data = self._keep(("data", site), lambda: self._data(site))
        return Evaluation(
            site=site,
            seed=self.seed,
            services=services,
            data=data,
            backlogs=self._backlogs.forecast(
                site, data, binding=limits, apart_frac=0.0 if exact else SAME_LOAD_FRAC
            ),
            missing=self.link.missing,
            notes=(
                *_notes(site, self.hour_of(site)),
                *filter(None, [hours_assumed(site.hours, self.start)]),
                *self._left_out(site),
            ),
            hours_up=self._keep(("hours up", site.hours), lambda: hours_up(self._hours_of(site))),
        )

    def _data(self, site: Site) -> Any:
        rates = {
            way: model.mean_rate_bps
            for way, model in (("up", self.link.up), ("down", self.link.down))
            if model is not None
        }
        return forecast_data(
            replace(site, hours=self._hours_of(site)),
            seed=self.seed, mean_rates_bps=rates, kept=self._data_kept,
        )  # fmt: skip

    def _hours_of(self, site: Site) -> Hours:
        """The hours of the month that begins on the first day, where that is known."""
        return site.hours if self.start is None else site.hours.on(self.start, _MONTH_DAYS)

    def _keep(self, key: Hashable, compute: Any) -> Any:
        if key not in self._kept:
            self._kept[key] = compute()
        return self._kept[key]

    def _known(self, seen: Meets, *, exact: bool) -> Forecast | None:
        """What was computed for the same task on the same path, if it met (nearly) this load."""
        apart = 0.0 if exact else SAME_LOAD_FRAC
        for other, time in self._timed.get(seen.what, ()):
            if seen.apart_frac(other) <= apart:
                return time
        return None

    def hour_of(self, site: Site) -> float | None:
        """The hour that was asked for, else the slowest one of those in which the site is up."""
        if self.hour is not None:
            return self.hour
        hours = self._hours_of(site)
        return self._keep(("hour", hours), lambda: slowest_hour(self.link, hours))

    def _hour_paths(self, direction: str, hour: float | None) -> "CapacityPaths":
        """Futures of the busy hour."""
        return self._keep(
            ("hour paths", direction, hour),
            lambda: self.link.paths(
                direction,
                horizon_s=SECONDS_PER_HOUR,
                n_draws=20 * self.n_worlds,
                rng=stream_seed(self.seed, "busy hour", direction),
                n_worlds=self.n_worlds,
                hour=hour,
            ),
        )

    def busy_hour(self, site: Site) -> BusyHour:
        """The link in the hour that verdicts hold for, with everybody of `site` on it."""
        needed = [d for d in _BOTH if self._needs(site, d) and self._is_measured(d)]
        hour = self.hour_of(site)
        paths = {d: self._hour_paths(d, hour) for d in needed}
        return BusyHour(
            link=self.link,
            paths=paths,
            classes={d: site_classes(site, d) for d in needed},
            streams={d: site_streams(site, d) for d in needed},
            company=self._company,
        )

    @staticmethod
    def _needs(site: Site, direction: str) -> bool:
        both = site.path.same_link_share_frac > 0
        return any(both or direction in directions(task) for s in site.services for task in s.tasks)

    def _left_out(self, site: Site) -> list[str]:
        """What the times do not hold because a direction was never measured."""
        absent = [d for d in _BOTH if self._needs(site, d) and not self._is_measured(d)]
        if not absent or not site.path.same_link_share_frac:
            return []
        return [
            f"clients on the same link are left out of the times: {absent[0]} was never measured"
        ]

    def _is_measured(self, direction: str) -> bool:
        """Was `direction` of the link ever measured?"""
        return (self.link.up if direction == "up" else self.link.down) is not None

    def _service(
        self,
        service: Service,
        site: Site,
        hour: BusyHour,
        *,
        throttled: bool,
        users: bool,
        exact: bool,
    ) -> ServiceForecast:
        tasks = tuple(
            self._task(task, service, site.path, hour, limits=users, exact=exact)
            for task in service.tasks
        )
        works = None
        rate_bps = site.plan.throttle_bps
        if throttled and rate_bps is not None:
            slow = self._throttled(hour, rate_bps)
            promised = [
                self._task(task, service, site.path, slow, n_probes=_THROTTLED_PROBES)
                for task in service.tasks
                if task.must_carry
            ]
            known = [task.meets_target for task in promised if not task.unmeasured]
            works = all(known) if known or not promised else None
        elif throttled and site.plan.stops:
            works = False
        return ServiceForecast(service=service, tasks=tasks, works_throttled=works)

    def curve(self, task: Task, service: Service, path: PathLimits, hour: BusyHour) -> UserCurve:
        """The time of `task` against the number of users, on the runs of its verdict."""
        seen = Meets.of(replace(service, tasks=()), task, path, hour)
        return UserCurve(
            task, service, path, hour,
            draw=lambda: stream_seed(self.seed, "task", service.name, task.name),
            n_probes=self.n_probes,
            alone=self._alone.setdefault(seen.what, {}),
        )  # fmt: skip

    def _limit(
        self, task: Task, service: Service, path: PathLimits, hour: BusyHour, time: Forecast
    ) -> UserLimit:
        """The largest number of users, to a tenth, where `time` is that of those there are."""
        curve = self.curve(task, service, path, hour)
        if service.n_users >= 1:
            curve.knows(time)
        assert task.target_s is not None
        return curve.limit(task.target_s, exact=False)

    def _throttled(self, hour: BusyHour, rate_bps: float) -> BusyHour:
        """The busy hour after the cap, held to the plan's throttled rate."""
        paths = {
            d: self._keep(("throttled", d, rate_bps), lambda p=p: p.limited(rate_bps))
            for d, p in hour.paths.items()
        }
        return replace(hour, paths=paths)

    def _task(
        self,
        task: Task,
        service: Service,
        path: PathLimits,
        hour: BusyHour,
        *,
        limits: bool = False,
        exact: bool = False,
        n_probes: int | None = None,
    ) -> TaskForecast:
        unmeasured = " and ".join(d for d in directions(task) if d not in hour.paths)
        if unmeasured:
            return unmeasured_task(task, service, path, unmeasured)
        names = (service.name, task.name)
        seen = Meets.of(replace(service, tasks=()), task, path, hour)
        time = self._known(seen, exact=exact)
        if time is None:
            time = task_draws(
                task, service, path, hour,
                rng=stream_seed(self.seed, "task", *names), n_probes=n_probes or self.n_probes,
                alone=self._alone.setdefault(seen.what, {}),
            ).forecast()  # fmt: skip
            self._timed.setdefault(seen.what, []).append((seen, time))
        limit = None
        if limits and task.target_s is not None and bears_load(task, service, path):
            limit = self._keep(
                ("limit", service, task, path, seen.loads),
                lambda: self._limit(task, service, path, hour, time),
            )
        forecast = TaskForecast(
            service=service.name,
            task=task,
            time=time,
            prob_within_target=None if task.target_s is None else time.prob_within(task.target_s),
            n_max_users=None,
            refused=refusal(task, path),
        )
        return forecast if limit is None else _with_limit(forecast, limit)


def _with_limit(forecast: TaskForecast, limit: UserLimit) -> TaskForecast:
    """The forecast with its users; nobody where the path refuses the task."""
    most, low, high = limit.n_users, limit.n_low, limit.n_high
    if forecast.refused:
        most = low = high = 0
    return replace(forecast, n_max_users=most, n_max_users_low=low, n_max_users_high=high)


def _notes(site: Site, hour: float | None) -> list[str]:
    """What the reader must know to read the figures right."""
    when = "no slower hour of the day is known"
    if hour is not None:
        when = f"{hour:g} to {(hour + 1) % 24:g} h ({site.timezone})"
    notes = [f"times hold for the busy hour ({when}), with everybody of the site on the link"]
    windowed = [service.name for service in site.services if service.window]
    if windowed:
        notes.append(f"kept out of the busy hour by their own window: {', '.join(windowed)}")
    return notes


def evaluate(
    site: Site,
    link: "LinkModel",
    *,
    seed: int = 0,
    n_probes: int = 400,
    hour: float | None = None,
    start: "date | None" = None,
) -> Evaluation:
    """All forecasts of `site` on `link`: tasks, users, data use, backlogs.

    Parameters
    ----------
    site : Site
        What is asked of the link.
    link : LinkModel
        What the link is like.
    seed : int
        Of every draw; the same seed gives the same numbers.
    n_probes : int
        Runs looked at for each task.
    hour : float, optional
        Local hour for which the verdicts hold. [h]
    start : date, optional
        First day of the backlogs; deadlines need it.

    Notes
    -----
    What crosses a direction that was never measured is marked `unmeasured`, the rest is forecast.
    """
    return Evaluator(link, seed=seed, n_probes=n_probes, hour=hour, start=start).evaluate(site)
