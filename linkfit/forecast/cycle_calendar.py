"""Billing cycles on the calendar: how old the running one is, and when the next ones begin."""

import calendar
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from linkfit.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray


def _on_day(year: int, month: int, cycle_day: int) -> date:
    """The cycle's day in a month; its last day where the month is shorter."""
    last = calendar.monthrange(year, month)[1]
    return date(year, month, min(cycle_day, last))


@dataclass(frozen=True, slots=True, kw_only=True)
class CycleCalendar:
    """Cycles that begin on `cycle_day` of each month, seen from the day `start`."""

    start: date
    cycle_day: int

    def __post_init__(self) -> None:
        if not 1 <= self.cycle_day <= 31:
            raise InputError(f"cycle_day: expected 1 to 31, got {self.cycle_day}")

    def begin(self, n_ahead: int) -> date:
        """First day of the running cycle (0) or of one `n_ahead`."""
        this = _on_day(self.start.year, self.start.month, self.cycle_day)
        months = 12 * self.start.year + self.start.month - 1 + n_ahead - (this > self.start)
        return _on_day(months // 12, months % 12 + 1, self.cycle_day)

    @property
    def days_left(self) -> int:
        """Days of the running cycle from `start` on. [days]"""
        return (self.begin(1) - self.start).days

    def days_at(
        self, cycle_number: "NDArray[np.float64]", days: "NDArray[np.float64]"
    ) -> "NDArray[np.float64]":
        """Days from `start` to `days` into a cycle; number 0 is the running one, seen from `start`.

        Cycles beyond the calendar of dates (year 9999) never come: inf.
        """
        most = 12 * (9999 - self.start.year) - 1
        ahead = np.where(cycle_number <= most, cycle_number, 0.0)
        numbers, inverse = np.unique(ahead, return_inverse=True)
        begins = [(self.begin(int(n)) - self.start).days if n > 0 else 0 for n in numbers]
        found = np.array(begins, dtype=np.float64)[inverse.reshape(cycle_number.shape)] + days
        return np.where(cycle_number <= most, found, np.inf)
