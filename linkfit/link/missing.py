"""Which measurements are missing, in words, with what they would cost in data."""

from typing import TYPE_CHECKING

from linkfit.link.enough_tests import TESTS_PER_CELL, WIDTH_FRAC, more_cells, seconds_of_a_test
from linkfit.link.measured_cells import idle_rtt_s, measured_cells
from linkfit.units import format_count, format_share, format_size

if TYPE_CHECKING:
    from linkfit.ingest.trace import Trace
    from linkfit.link.futures import DirectionModel
    from linkfit.link.latency import LatencyModel

TEST_S = 10.0
MIN_DAYS = 7


def missing_measurements(
    trace: "Trace",
    timezone: str,
    up: "DirectionModel | None",
    down: "DirectionModel | None",
    latency: "LatencyModel | None",
) -> tuple[str, ...]:
    """What to measure next, most useful first.

    Parameters
    ----------
    trace : Trace
        Everything measured, of which `up`, `down` and `latency` are the models.
    timezone : str
        Of the hours of the day.

    Notes
    -----
    One 10 s test one way costs 1.25 MB for each Mbit/s. The number of tests is that of
    `more_cells`, the same that `linkfit plan-tests` says at its own defaults.
    """
    texts = []
    seconds = seconds_of_a_test(idle_rtt_s(trace))
    for name, way, model in (("upload", "up", up), ("download", "down", down)):
        if model is None:
            texts.append(f"{name} was never measured: one 10 s test costs 1.25 MB per Mbit/s")
        elif model.lower_bound_only:
            cost = format_size(model.mean_rate_bps * TEST_S / 8.0, 2)
            texts.append(
                f"{name} was only seen below its limit: one 10 s test costs about {cost} or more"
            )
        else:
            cells = measured_cells(trace, way, timezone=timezone)
            n_more = more_cells(cells.rates_bps).n_p50
            texts += [*_too_few(name, model, n_more, seconds), *_of_direction(name, model)]
    if latency is None:
        texts.append("round trips were never measured: a minute of pings costs about 10 kB")
    elif latency.loaded_rtts_s is None:
        texts.append(
            "round trips while the link is busy were never measured: ping during one speed test"
        )
    return tuple(texts)


def _too_few(name: str, model: "DirectionModel", n_cells: int, seconds: int) -> list[str]:
    """How many tests more, in so many quarters of a day; nothing where there are enough."""
    if not n_cells:
        return []
    n_tests = TESTS_PER_CELL * n_cells
    one_bytes = model.mean_rate_bps * seconds / 8.0
    return [
        f"{name} rests on {model.measured_s:.0f} s in {format_count(model.n_tests, 'run')}: "
        f"{n_tests} more tests of {seconds} s, two in each of "
        f"{format_count(n_cells, 'more quarter')} of a day, would tell its median within "
        f"{format_share(WIDTH_FRAC)} and cost about {format_size(n_tests * one_bytes, 2)} "
        f"({format_size(one_bytes, 2)} each)"
    ]


def _of_direction(name: str, model: "DirectionModel") -> list[str]:
    cost = format_size(model.mean_rate_bps * TEST_S / 8.0, 2)
    texts = []
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
