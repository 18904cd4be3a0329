"""When to test: within the day's and the cycle's bytes, in the hours that know least."""

import calendar
import random
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from linkfit._checks import non_negative, positive
from linkfit.errors import InputError
from linkfit.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

_HOURS = 24
_KEEP_FREE_S = 120  # at an hour's end, so that a test stays in its hour


@dataclass(frozen=True, slots=True, kw_only=True)
class TestBudget:
    """Bytes that tests may cost: a day, a cycle, and what of both is spent."""

    __test__ = False

    daily_bytes: float
    cycle_bytes: float
    spent_today_bytes: float = 0.0
    spent_cycle_bytes: float = 0.0

    def __post_init__(self) -> None:
        positive("daily_budget", self.daily_bytes)
        positive("monthly_budget", self.cycle_bytes)
        non_negative("spent_today_bytes", self.spent_today_bytes)
        non_negative("spent_cycle_bytes", self.spent_cycle_bytes)

    @property
    def left_bytes(self) -> float:
        """What the next test may cost at most. [bytes]"""
        left_bytes = min(
            self.daily_bytes - self.spent_today_bytes, self.cycle_bytes - self.spent_cycle_bytes
        )
        return max(left_bytes, 0.0)


def n_tests_a_day(budget: TestBudget, *, cost_bytes: float, left_days: float) -> int:
    """How many tests of `cost_bytes` today's share of the budget pays for.

    Parameters
    ----------
    budget : TestBudget
        As it stood when the day began.
    left_days : float
        Of the cycle, this day included. [days]
    """
    share_bytes = (budget.cycle_bytes - budget.spent_cycle_bytes) / max(left_days, 1.0)
    affordable_bytes = min(budget.daily_bytes, share_bytes)
    return max(int(affordable_bytes // positive("cost_bytes", cost_bytes)), 0)


def moments_s(
    day_s: float, n_tests: int, n_by_hour: Sequence[int], *, seed: int
) -> tuple[float, ...]:
    """Moments of one day's tests, in order.

    Parameters
    ----------
    day_s : float
        Start of the day. [s since 1970]
    n_tests : int
        How many.
    n_by_hour : sequence of 24 int
        Tests that each hour of the day holds already.
    seed : int
        Same day, same seed: same moments, so that a recorder that starts again keeps to them.

    Notes
    -----
    One after another goes to the hour that then holds fewest, chance deciding between equals, and
    within the hour to a moment drawn evenly: a fixed minute would meet what others do at it.
    """
    draw = random.Random(f"{seed}/{day_s:.0f}")  # noqa: S311  (a schedule, no secret)
    held = list(n_by_hour)
    times_s = []
    for _ in range(n_tests):
        fewest = min(held)
        hour = draw.choice([h for h in range(_HOURS) if held[h] == fewest])
        held[hour] += 1
        within_s = draw.uniform(0.0, SECONDS_PER_HOUR - _KEEP_FREE_S)
        times_s.append(day_s + hour * SECONDS_PER_HOUR + within_s)
    return tuple(sorted(times_s))


def day_start_s(time_s: float) -> float:
    """Start of the UTC day that holds `time_s`. [s since 1970]"""
    return time_s // SECONDS_PER_DAY * SECONDS_PER_DAY


def cycle_bounds_s(time_s: float, cycle_day: int, zone: tzinfo) -> tuple[float, float]:
    """Begin and end of the billing cycle that holds `time_s`; cycles begin at local midnight.

    A month that lacks `cycle_day` begins its cycle on its last day. [s since 1970]
    """
    if not 1 <= cycle_day <= 31:
        raise InputError(f"cycle_day: expected 1 to 31, got {cycle_day}")
    local = datetime.fromtimestamp(time_s, tz=zone)
    months = 12 * local.year + local.month - 1
    begin = _cycle_begin(months, cycle_day, zone)
    if begin > local:
        return _cycle_begin(months - 1, cycle_day, zone).timestamp(), begin.timestamp()
    return begin.timestamp(), _cycle_begin(months + 1, cycle_day, zone).timestamp()


def _cycle_begin(months: int, cycle_day: int, zone: tzinfo) -> datetime:
    year, month = months // 12, months % 12 + 1
    last = calendar.monthrange(year, month)[1]
    return datetime(year, month, min(cycle_day, last), tzinfo=zone)
