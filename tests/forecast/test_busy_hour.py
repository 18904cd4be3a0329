"""The slowest hour: of those measured, of those in which the server is up, if one is known."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from linkfit.forecast.busy_hour import slowest_hour
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.site.hours import DayWindow, Hours


def days(rate_of_hour, hours=range(24), n_days=8, direction="up"):
    """Two minutes at 1 s in each of `hours` of each day."""
    rng = np.random.default_rng(9)
    traces = []
    for day in range(n_days):
        for hour in hours:
            start = datetime(2026, 5, 1, tzinfo=UTC) + timedelta(days=day, hours=hour)
            rates = rate_of_hour(hour) * np.exp(0.1 * rng.standard_normal(120))
            traces.append(Trace.from_rates(rates, direction=direction, start=start))
    return Trace.merge(traces)


def evening(hour):
    return 8e6 * (1 - 0.6 * np.exp(-(((hour - 21) / 3) ** 2)))


@pytest.fixture(scope="module")
def link():
    return fit_link(days(evening))


def test_the_evening_dip_is_found(link):
    assert slowest_hour(link, Hours()) in (20, 21, 22)


def test_hours_without_power_do_not_count(link):
    up = Hours(windows=(DayWindow(start_h=6.5, end_h=18.0),))
    assert slowest_hour(link, up) in (16, 17)


def test_hours_never_measured_do_not_count():
    link = fit_link(days(evening, hours=[h for h in range(24) if h not in (20, 21, 22)]))
    assert slowest_hour(link, Hours()) in (19, 23)


def test_an_hour_seen_once_for_minutes_does_not_count():
    many = days(evening, hours=[h for h in range(24) if h not in (20, 21, 22)])
    once = days(evening, hours=[21], n_days=1)
    link = fit_link(Trace.merge([many, once]))
    assert link.up.daily.measured_s[21] == 120
    assert slowest_hour(link, Hours()) in (19, 23)


def test_the_slower_direction_decides():
    flat_with_noon_dip = days(
        lambda h: 50e6 * (1 - 0.9 * np.exp(-(((h - 12) / 2) ** 2))), direction="down"
    )
    link = fit_link(Trace.merge([days(evening), flat_with_noon_dip]))
    assert slowest_hour(link, Hours()) in (11, 12, 13)


def test_without_a_pattern_no_hour_is_named():
    flat = fit_link(Trace.from_rates(np.full(900, 1e6)))
    assert slowest_hour(flat, Hours()) is None
