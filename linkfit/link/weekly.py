"""The weekly pattern: Saturday and Sunday against the other days, or that none was found."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import stdtrit

from linkfit._checks import non_negative, positive
from linkfit.link.daily import DailyPattern, clocked_pieces, local_hours_and_days, zone_of
from linkfit.link.series import MeasuredRuns

if TYPE_CHECKING:
    from numpy.typing import NDArray

MIN_WEEKEND_DAYS = 2
MIN_WEEKDAYS = 3
# how much weekends usually differ, as spread of log rate: as much as hours of the day do; a guess
UNMEASURED_SIGMA = 0.15
_CHANCE_PROB = 0.05  # of finding a pattern where there is none
_EPOCH_WEEKDAY = 3  # 1970-01-01 was a Thursday; Monday is 0


@dataclass(frozen=True, slots=True, kw_only=True)
class WeeklyPattern:
    """How the rate on Saturdays and Sundays compares with that of the other days.

    Parameters
    ----------
    factor : float
        Rate at weekends over that of weekdays, at the same hours; 1 where no pattern was found.
    sigma : float
        Standard deviation of the logarithm of `factor`: what is unknown of it.
    n_weekend_days, n_weekdays : int
        Local days of each kind with measurements; 0 and 0 without a clock.
    found : bool
        Do the two differ by more than days of one kind differ among each other?
    """

    factor: float
    sigma: float
    n_weekend_days: int
    n_weekdays: int
    found: bool

    def __post_init__(self) -> None:
        positive("factor", self.factor)
        non_negative("sigma", self.sigma)

    @property
    def tested(self) -> bool:
        """Are there days enough of both kinds to look for a pattern?"""
        return self.n_weekend_days >= MIN_WEEKEND_DAYS and self.n_weekdays >= MIN_WEEKDAYS


def unknown_week(n_weekend_days: int = 0, n_weekdays: int = 0) -> WeeklyPattern:
    """The pattern of a link whose days are too few to tell."""
    return WeeklyPattern(
        factor=1.0,
        sigma=UNMEASURED_SIGMA,
        n_weekend_days=n_weekend_days,
        n_weekdays=n_weekdays,
        found=False,
    )


def fit_weekly(runs: MeasuredRuns, daily: DailyPattern) -> WeeklyPattern:
    """The weekly pattern of `runs`, once the daily one is taken out, shrunk towards none.

    Notes
    -----
    Each day counts once: the mean log rate of its pieces of at most 10 minutes. The difference
    between the means of the two kinds of days is a pattern where it exceeds what Student's t law
    allows at 5 % (days as independent, of one variance); it is then shrunk as the mean of a
    normal prior with standard deviation 0.15 and this difference with its standard error. At
    least 2 weekend days and 3 others are needed.
    """
    clocked = np.isfinite(runs.start_s)
    middle_s, mean_bps, length_s = clocked_pieces(runs, clocked)
    if not middle_s.size:
        return unknown_week()
    hour, day = local_hours_and_days(middle_s, zone_of(daily.timezone))
    floor_bps = 0.01 * float(np.average(mean_bps, weights=length_s)) or 1.0
    value = np.log(np.maximum(mean_bps, floor_bps)) - np.log(daily.factor_at(hour))
    days, index = np.unique(day, return_inverse=True)
    weight_s = np.bincount(index, weights=length_s)
    level = np.bincount(index, weights=length_s * value) / weight_s
    return week_of_days(level, (days + _EPOCH_WEEKDAY) % 7 >= 5)


def week_of_days(
    log_rates: "NDArray[np.float64]", is_weekend: "NDArray[np.bool_]"
) -> WeeklyPattern:
    """The pattern in one mean log rate a day, shape (n,)."""
    counts = int(is_weekend.sum()), int((~is_weekend).sum())
    flat = unknown_week(*counts)
    if not flat.tested:
        return flat
    kinds = (log_rates[is_weekend], log_rates[~is_weekend])
    difference = float(kinds[0].mean() - kinds[1].mean())
    n_free = log_rates.size - 2
    squares = sum(float(((kind - kind.mean()) ** 2).sum()) for kind in kinds)
    error2 = squares / n_free * (1.0 / counts[0] + 1.0 / counts[1])
    found = bool(abs(difference) > stdtrit(n_free, 1 - _CHANCE_PROB / 2) * np.sqrt(error2))
    kept = UNMEASURED_SIGMA**2 / (UNMEASURED_SIGMA**2 + error2)
    return WeeklyPattern(
        factor=float(np.exp(kept * difference)) if found else 1.0,
        sigma=float(np.sqrt(kept * error2)),
        n_weekend_days=counts[0],
        n_weekdays=counts[1],
        found=found,
    )
