"""What forecasts return for a Site: tasks, services, data use, backlogs, and all of it together."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from linkfit.forecast.chances import Chance
from linkfit.forecast.draws import Forecast
from linkfit.forecast.evaluation_table import ShownEvaluation
from linkfit.site.model import Backlog, Service, Site, Task


@dataclass(frozen=True, slots=True, kw_only=True)
class TaskForecast:
    """One task of one service at the busy hour, with everybody else of the site on the link.

    `time` has unit "s". `max_users` is the largest number of users of this service for which
    the 95th percentile stays within the target (None: the task has no target, or time does not
    grow with users); `n_max_users_low`, `n_max_users_high` are its 5 % and 95 % points over the
    worlds. `refused` says why the path cannot carry the task at all ("" if it can).
    `unmeasured` names the link direction that it needs and nobody measured ("" if none): then
    nothing is known, and `time` is "never" only to keep its shape.
    """

    service: str
    task: Task
    time: Forecast
    prob_within_target: float | None
    n_max_users: int | None
    n_max_users_low: int | None = None
    n_max_users_high: int | None = None
    refused: str = ""
    unmeasured: str = ""

    @property
    def meets_target(self) -> bool:
        """Does the 95th percentile stay within the target? True for a task without one."""
        if self.refused or self.unmeasured:
            return False
        if self.task.target_s is None:
            return True
        return bool(float(self.time.quantile(0.95)) <= self.task.target_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceForecast:
    """One service with the forecasts of its tasks.

    `works_throttled` tells whether it still meets its targets once the cap is used up: at the
    plan's throttled rate, False where the plan stops (None: the plan goes on as before, or nothing
    that the service needs was measured).
    """

    service: Service
    tasks: tuple[TaskForecast, ...]
    works_throttled: bool | None = None

    @property
    def meets_targets(self) -> bool:
        """All tasks that the service promises stay within their targets."""
        return all(task.meets_target for task in self.tasks if task.task.must_carry)


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerEntry:
    """One cause of data use: bytes that the plan counts in one cycle.

    `optional`: it can go; `asked_for`: somebody wanted it, so it is no traffic of its own.
    """

    cause: str
    service: str
    use: Forecast
    optional: bool = False
    asked_for: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class DataForecast:
    """Data use of one billing cycle: the total, its causes, and when the plan runs out.

    `runs_out` has unit "days" from the start of the cycle, inf in futures that stay within the
    plan; None if the plan has no cap. `cost` is money per cycle where the plan has a price.
    `use` is what is wanted; `carried` what the plan lets through, at most, before and after its
    cap. `cap_needed` is the cap that would do in each draw, None where it is `use` itself.
    """

    cap_bytes: float | None
    cycle_days: float
    use: Forecast
    prob_over_cap: float | None
    runs_out: Forecast | None
    ledger: tuple[LedgerEntry, ...]
    cost: Forecast | None = None
    carried: Forecast | None = None
    cap_needed: Forecast | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Easing:
    """One thing eased a little: how much sooner a backlog would be done, and after how long.

    `what` says it in words ("one more hour up a day"), `constraint` which one it eases.
    `sooner` and `days` have unit "days", over the futures of the forecast itself.
    """

    what: str
    constraint: str
    sooner: Forecast
    days: Forecast


@dataclass(frozen=True, slots=True, kw_only=True)
class BacklogForecast:
    """When a backlog is done, in days from its start, and what holds it back.

    `binding` is the constraint that decides in most futures ("rate", "data plan", "hours",
    "per-item cost", "path limit", "rate limit"); `binding_frac` gives the share of futures for
    each. inf days: never finishes. `by_deadline` is the chance to be done in time (None: no
    deadline, or the start is not known). `refused` says why the path cannot carry it ("" if it
    can); `unmeasured` names the direction that it needs and nobody measured. `start`, `start_h`:
    the day (None: not known) and local hour from which the days count. `why_never` says why
    it never ends where it does not ("" if it ends in 19 of 20 futures). `easings`: shadow prices.
    `assumed` says in words which cycles, rules of the plan and sun the days rest on.
    """

    backlog: Backlog
    days: Forecast
    binding: str
    binding_frac: Mapping[str, float]
    by_deadline: Chance | None
    refused: str = ""
    unmeasured: str = ""
    start: date | None = None
    start_h: float = 0.0
    why_never: str = ""
    easings: tuple[Easing, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def prob_by_deadline(self) -> float | None:
        """`by_deadline` without its interval. [probability]"""
        return None if self.by_deadline is None else self.by_deadline.prob


@dataclass(frozen=True, slots=True, kw_only=True)
class Evaluation(ShownEvaluation):
    """All forecasts of one Site on one LinkModel, from one seed."""

    site: Site
    seed: int
    services: tuple[ServiceForecast, ...]
    data: DataForecast
    backlogs: tuple[BacklogForecast, ...]
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    hours_up: str = ""
