"""How many users a task bears: the largest number with the 95th percentile inside its target.

Every number of users is tried on the same runs of the task, among the same company thinned or
thickened, so the 95th percentile never falls when users are added, and the limit never
contradicts the time beside it.
"""

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from linkfit.forecast.busy_hour import BusyHour
from linkfit.forecast.draws import Forecast
from linkfit.forecast.load import (
    directions,
    runs_in_busy_hour,
    service_classes,
    service_streams,
    stream_load_bps,
)
from linkfit.forecast.task_times import task_draws
from linkfit.site.model import PathLimits, Service, Task

LEVEL = 0.95
MOST_USERS = 200  # nobody plans for more on such a link; the search says where it stopped
_GIVE_UP = 4.0  # targets: a quick search need not know how long a later run takes
_COARSE_FRAC = 0.1  # a search that must be quick tells numbers of users to this
_HEIGHTS = (0.01, 10.0)  # of an end, as it counts for where to look next


@dataclass(frozen=True, slots=True, kw_only=True)
class UserLimit:
    """The largest number of users that still meets the target, and how sure it is.

    `n_low` and `n_high` are the largest numbers for which the upper and the lower end of the
    interval of the 95th percentile meet it. `at_limit`: the search stopped at its stated
    maximum, the true number may be larger.
    """

    n_users: int
    n_low: int
    n_high: int
    at_limit: bool


def with_users(hour: BusyHour, service: Service, path: PathLimits, n_users: int) -> BusyHour:
    """The busy hour with `n_users` of `service`, everybody else of the site as they are.

    A service with a window of its own keeps out of it, however many use it.
    """
    if not runs_in_busy_hour(service):
        return hour
    classes, streams = {}, {}
    for way in hour.paths:
        mine = service_classes(service, path, way, n_users)
        own = {flow.name for flow in service_classes(service, path, way, 1)}
        classes[way] = (*(f for f in hour.classes[way] if f.name not in own), *mine)
        streamed = service_streams(service, path, way, n_users)
        known = {stream.name for stream in service_streams(service, path, way, 1)}
        streams[way] = (*(s for s in hour.streams[way] if s.name not in known), *streamed)
    return replace(hour, classes=classes, streams=streams)


class UserCurve:
    """The time of one task against the number of users of its service; every number once.

    Parameters
    ----------
    hour : BusyHour
        With the users that the site has.
    draw : callable
        Makes the task's own generator; the same stream at each call.
    n_probes : int
        Runs looked at for each number of users.
    alone : dict, optional
        As in `task_draws`, where the times alone were computed before.
    """

    def __init__(
        self,
        task: Task,
        service: Service,
        path: PathLimits,
        hour: BusyHour,
        *,
        draw: Callable[[], np.random.Generator],
        n_probes: int,
        alone: dict[Hashable, Any] | None = None,
    ) -> None:
        self.task, self.service, self.path, self.hour = task, service, path, hour
        self._draw, self._n_probes = draw, n_probes
        self._alone = {} if alone is None else alone
        self._ends: dict[int, tuple[float, float, float]] = {}

    def time(self, n_users: int, *, give_up_s: float = math.inf) -> Forecast:
        """Time with `n_users` of the service. [s]"""
        draws = task_draws(
            self.task, replace(self.service, n_users=n_users), self.path,
            with_users(self.hour, self.service, self.path, n_users),
            rng=self._draw(), n_probes=self._n_probes, alone=self._alone, give_up_s=give_up_s,
        )  # fmt: skip
        return draws.forecast()

    def knows(self, time: Forecast) -> None:
        """Take over the time with as many users as there are, computed before."""
        self._keep_ends(max(1, self.service.n_users), time)

    def _keep_ends(self, n_users: int, time: Forecast) -> None:
        low, high = time.quantile_interval(LEVEL)
        self._ends[n_users] = (float(time.quantile(LEVEL)), high, low)

    def limit(self, target_s: float, *, exact: bool, n_limit: int = MOST_USERS) -> UserLimit:
        """The largest number of users, and the numbers for the ends of the interval.

        Parameters
        ----------
        exact : bool
            Each of the three to one user; else the number to 10 %, as tried, and its ends read
            between the numbers tried.
        """

        def late(n_users: int, end: int) -> float:
            """How late, as a logarithm: at most 0 where the target is met."""
            if n_users not in self._ends:
                give_up_s = math.inf if exact else _GIVE_UP * target_s
                self._keep_ends(n_users, self.time(n_users, give_up_s=give_up_s))
            return math.log(self._ends[n_users][end] / target_s)

        def search(end: int, near: int) -> int:
            return largest(lambda n: late(n, end), near=near, n_limit=n_limit, exact=exact)

        def between(end: int) -> int:
            low = max((n for n in self._ends if late(n, end) <= 0), default=0)
            high = min((n for n in self._ends if n > low), default=0)
            return _crossing(low, high, late(low, end), late(high, end)) if low and high else low

        n_limit = max(n_limit, self.service.n_users)
        found = search(0, max(1, self.service.n_users))
        low, high = (search(end, max(1, found)) if exact else between(end) for end in (1, 2))
        return UserLimit(
            n_users=found, n_low=min(low, found), n_high=max(high, found), at_limit=found >= n_limit
        )


def _crossing(low: int, high: int, low_log_ratio: float, high_log_ratio: float) -> int:
    """Where a line from `low`, in time, to `high`, late, meets 0."""
    return low + math.floor((high - low) * low_log_ratio / (low_log_ratio - high_log_ratio))


def largest(late: Callable[[int], float], *, near: int, n_limit: int, exact: bool) -> int:
    """The largest number from 0 to `n_limit` that is not late (`late` <= 0); it only ever grows.

    Most tasks bear the number that there is and all that one asks for, or not even one: these
    are tried first. Then false position, to one or to a tenth: an end that stays has its height
    halved each time, so that the other moves too (the "Illinois" rule).

    Source
    ------
    M. Dowell and P. Jarratt, "A modified regula falsi method for computing the root of an
    equation", BIT 11, 168-174, 1971, doi:10.1007/BF01934364 (the rule; from memory).
    """
    low, high = 0, n_limit + 1
    heights = {}

    def is_late(n: int) -> bool:
        height = late(n)
        heights[n] = math.copysign(min(max(abs(height), _HEIGHTS[0]), _HEIGHTS[1]), height)
        return height > 0

    for here in (near, n_limit, 1):
        if low < here < high:
            low, high = (low, here) if is_late(here) else (here, high)
    while high - low > (least := 1 if exact else max(1, int(_COARSE_FRAC * low))):
        guess = _crossing(low, high, heights[low], heights[high])
        middle = min(max(guess, low + least), high - least)  # a guess at an end closes it
        if is_late(middle):
            high, heights[low] = middle, heights[low] / 2
        else:
            low, heights[high] = middle, heights[high] / 2
    return low


def bears_load(task: Task, service: Service, path: PathLimits) -> bool:
    """Do more users of `service` slow `task` in the busy hour at all?"""
    if not runs_in_busy_hour(service):
        return False
    one = replace(service, n_users=1)
    ways = ("up", "down") if path.same_link_share_frac else directions(task)
    return any(
        service_classes(one, path, way, 1) or stream_load_bps(one, path, way) for way in ways
    )
