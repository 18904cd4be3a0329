"""How much more to measure before two links can be told apart, and what that costs in data."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from linkfit.link.level import level_spread

if TYPE_CHECKING:
    from linkfit.link.futures import DirectionModel

TEST_S = 10.0
LEAST_RATIO = 1.1  # links closer than this serve alike; nobody need tell them apart
LONGEST_S = 10 * 86400.0
# a difference of 2.8 standard errors shows at 5 % in four of five tries: 1.96 + 0.84
_STANDARD_ERRORS = 2.8


@dataclass(frozen=True, slots=True, kw_only=True)
class MoreTests:
    """Tests of 10 s on each link, spread over hours and days, that would show `ratio`.

    `n_tests` is None where ten days of nothing else would not do; `first_bytes` and
    `second_bytes` are what they cost on each link.
    """

    ratio: float
    n_tests: int | None
    first_bytes: float
    second_bytes: float


def measuring_to_tell(first: "DirectionModel", second: "DirectionModel") -> MoreTests:
    """What to measure on both links so that their difference in level would show.

    The difference is the one that was seen between the mean rates, or 10 % if it is smaller.

    Notes
    -----
    The level of a record scatters by `level_spread` of its length, and the difference of two by
    the root of the sum of squares. The shortest length at which the difference makes 2.8 of these
    is sought by doubling and halving; tests already made count.
    """
    means_bps = first.mean_rate_bps, second.mean_rate_bps
    low_bps, high_bps = min(means_bps), max(means_bps)
    seen = high_bps / low_bps if low_bps > 0 else math.inf
    ratio = max(seen, LEAST_RATIO)
    needed_s = _needed_s(first, second, math.log(min(ratio, 1e6)))
    measured_s = min(first.measured_s, second.measured_s)
    n_tests = None
    if needed_s is not None:
        n_tests = max(math.ceil((needed_s - measured_s) / TEST_S), 1)
    costs = (rate_bps * TEST_S / 8.0 * (n_tests or 0) for rate_bps in means_bps)
    first_bytes, second_bytes = costs
    return MoreTests(
        ratio=ratio, n_tests=n_tests, first_bytes=first_bytes, second_bytes=second_bytes
    )


def _needed_s(first: "DirectionModel", second: "DirectionModel", log_ratio: float) -> float | None:
    """Seconds on each link; None beyond `LONGEST_S`."""

    def is_enough(length_s: float) -> bool:
        return _STANDARD_ERRORS * _error(first, second, length_s) <= log_ratio

    if not is_enough(LONGEST_S):
        return None
    low_s, high_s = TEST_S, LONGEST_S
    while high_s > 1.02 * low_s:
        middle_s = math.sqrt(low_s * high_s)
        low_s, high_s = (low_s, middle_s) if is_enough(middle_s) else (middle_s, high_s)
    return high_s


def _error(first: "DirectionModel", second: "DirectionModel", length_s: float) -> float:
    """Standard error of the difference of log levels with `length_s` on each link. [1]"""
    spreads = (level_spread(length_s, _cov(model)) for model in (first, second))
    return math.hypot(*(math.hypot(s.unknown_sigma, s.chance_sigma) for s in spreads))


def _cov(model: "DirectionModel") -> float:
    """Coefficient of variation of the measured seconds. [1]"""
    mean_bps = model.mean_rate_bps
    return float(model.runs.rates_bps.std()) / mean_bps if mean_bps > 0 else 0.0
