"""Which measurements are missing, in words, with what they would cost in data."""

import math
from typing import TYPE_CHECKING

from linkfit.units import format_count, format_size

if TYPE_CHECKING:
    from linkfit.link.futures import DirectionModel
    from linkfit.link.latency import LatencyModel

TEST_S = 10.0
MIN_TESTS = 20  # tests for the median within about 30 %, at a variation of 0.5 (independent tests)
MIN_DAYS = 7


def n_tests_to_bound(tail_prob: float, *, confidence_prob: float = 0.95) -> int:
    """Independent tests of which the slowest is below the `tail_prob` quantile. [tests]

    The smallest n with 1 - (1 - p)^n >= confidence: a bound by counting alone, with no model.

    Source
    ------
    S. S. Wilks, "Determination of sample sizes for setting tolerance limits", Ann. Math.
    Statist. 12(1), 91-96, 1941 (from memory).
    """
    return math.ceil(math.log(1.0 - confidence_prob) / math.log(1.0 - tail_prob))


def missing_measurements(
    up: "DirectionModel | None", down: "DirectionModel | None", latency: "LatencyModel | None"
) -> tuple[str, ...]:
    """What to measure next, most useful first.

    Notes
    -----
    One 10 s test one way costs 1.25 MB for each Mbit/s. The number of tests is that which bounds
    the median within 30 % at 95 % for a coefficient of variation of 0.5, were tests independent.
    """
    texts = []
    for name, model in (("upload", up), ("download", down)):
        if model is None:
            texts.append(f"{name} was never measured: one 10 s test costs 1.25 MB per Mbit/s")
        else:
            texts += _of_direction(name, model)
    if latency is None:
        texts.append("round trips were never measured: a minute of pings costs about 10 kB")
    elif latency.loaded_rtts_s is None:
        texts.append(
            "round trips while the link is busy were never measured: ping during one speed test"
        )
    return tuple(texts)


def _of_direction(name: str, model: "DirectionModel") -> list[str]:
    cost = format_size(model.mean_rate_bps * TEST_S / 8.0, 2)
    if model.lower_bound_only:
        return [f"{name} was only seen below its limit: one 10 s test costs about {cost} or more"]
    texts = []
    # ten minutes in one piece tell as much as that many tests of 10 s about that one visit
    n_tests = max(model.n_tests, int(model.measured_s // 60))
    if n_tests < MIN_TESTS:
        n_more = MIN_TESTS - n_tests
        total = format_size(n_more * model.mean_rate_bps * TEST_S / 8.0, 2)
        texts.append(
            f"{name} rests on {model.measured_s:.0f} s in {format_count(model.n_tests, 'run')}: "
            f"{format_count(n_more, 'more test')} of 10 s, spread over hours and days, "
            f"{'costs' if n_more == 1 else 'cost'} about {total} ({cost} each)"
        )
    daily = model.daily
    hours = daily.hours_never_measured
    if daily.n_days == 0:
        texts.append(f"{name} has no time of day: nothing is known of busy hours")
    elif hours:
        texts.append(
            f"{name} was never measured at {_hour_ranges(hours)} ({daily.timezone}): "
            f"one test an hour costs about {cost} each"
        )
    if 0 < daily.n_days < MIN_DAYS:
        texts.append(
            f"{name} was measured on {format_count(daily.n_days, 'day')}: "
            f"other days may differ by more than the intervals say; cover {MIN_DAYS}"
        )
    weekly = model.weekly
    if daily.n_days >= MIN_DAYS and not (weekly.n_weekend_days and weekly.n_weekdays):
        never = "Monday to Friday" if weekly.n_weekend_days else "a Saturday or Sunday"
        texts.append(f"{name} was never measured on {never}: one test costs about {cost}")
    return texts


def _hour_ranges(hours: tuple[int, ...]) -> str:
    """Hours as ranges, for example "0-6 h, 13-14 h"."""
    ranges: list[list[int]] = []
    for hour in hours:
        if ranges and ranges[-1][1] == hour:
            ranges[-1][1] = hour + 1
        else:
            ranges.append([hour, hour + 1])
    return ", ".join(f"{low}-{high} h" for low, high in ranges)
