"""Billing cycles on the calendar: how old the running one is, and when the next ones begin."""

import calendar
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

_HOURS_PER_DAY = 24.0


def _on_day(year: int, month: int, cycle_day: int) -> date:
    """The cycle's day in a month; its last day where the month is shorter."""
    last = calendar.monthrange(year, month)[1]
    return date(year, month, min(cycle_day, last))


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleCalendar:
    """Cycles that begin on `cycle_day` of each month, seen from `start_h` of the day `start`."""

    start: date
    cycle_day: int
    start_h: float = 0.0

    def __post_init__(self) -> None:
        if not 1 <= self.cycle_day <= 31:
            raise InputError(f"cycle_day: expected 1 to 31, got {self.cycle_day}")

    def begin(self, n_ahead: int) -> date:
        """First day of the running cycle (0) or of one `n_ahead`."""
        this = _on_day(self.start.year, self.start.month, self.cycle_day)
        months = 12 * self.start.year + self.start.month - 1 + n_ahead - (this > self.start)
        return _on_day(months // 12, months % 12 + 1, self.cycle_day)

    def begins_after_days(self, n_ahead: int) -> float:
        """From the start to the midnight with which a cycle begins; 0 for the running one."""
        if n_ahead == 0:
            return 0.0
        return (self.begin(n_ahead) - self.start).days - self.start_h / _HOURS_PER_DAY

    def length_days(self, n_ahead: int) -> int:
        """All days of a cycle, the running one's part that is over among them. [days]"""
        return (self.begin(n_ahead + 1) - self.begin(n_ahead)).days

    def days_at(
        self, cycle_number: "NDArray[np.float64]", days: "NDArray[np.float64]"
    ) -> "NDArray[np.float64]":
        """Days from `start` to `days` into a cycle; number 0 is the running one, seen from `start`.

        Cycles beyond the calendar of dates (year 9999) never come: inf.
        """
        most = 12 * (9999 - self.start.year) - 1
        ahead = np.where(cycle_number <= most, cycle_number, 0.0)
        numbers, inverse = np.unique(ahead, return_inverse=True)
        begins = [self.begins_after_days(int(n)) for n in numbers]
        found = np.array(begins, dtype=np.float64)[inverse.reshape(cycle_number.shape)] + days
        return np.where(cycle_number <= most, found, np.inf)
