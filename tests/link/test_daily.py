import numpy as np
import pytest

from linkfit.errors import InputError
from linkfit.link.daily import DailyPattern, fit_daily, local_hours
from linkfit.link.series import MeasuredRuns

DAY_S = 86_400
JUNE_1 = 1_780_272_000  # 2026-06-01 00:00 UTC


def record_around_the_clock(rng, n_days, amplitude, hours=range(24), length_s=10):
    """One test an hour for some days, under a sine of the hour and a level of each day."""
    starts, rates = [], []
    for day in range(n_days):
        level = 5e6 * np.exp(0.2 * rng.standard_normal())
        for hour in hours:
            starts.append(JUNE_1 + day * DAY_S + hour * 3600.0)
            shape = np.exp(amplitude * np.cos(2 * np.pi * (hour - 3) / 24))
            noise = np.exp(0.2 * rng.standard_normal())
            rates.append(np.full(length_s, level * shape * noise))
    first = np.arange(len(starts) + 1) * length_s
    return MeasuredRuns(rates_bps=np.concatenate(rates), first=first, start_s=np.array(starts))


def test_a_pattern_is_found_and_recovered(rng):
    daily = fit_daily(record_around_the_clock(rng, 14, 0.4), "UTC")
    assert daily.found
    assert daily.n_days == 14
    ratio = daily.factor[3] / daily.factor[15]
    assert ratio == pytest.approx(np.exp(0.8), rel=0.15)
    assert np.argmax(daily.factor) in (2, 3, 4)
    assert daily.hours_never_measured == ()


@pytest.mark.slow
def test_no_pattern_is_said_to_be_none(rng):
    found = [fit_daily(record_around_the_clock(rng, 10, 0.0), "UTC").found for _ in range(40)]
    assert sum(found) <= 6
    flat = fit_daily(record_around_the_clock(rng, 10, 0.0), "UTC")
    assert np.abs(np.log(flat.factor)).max() < 0.1


def test_hours_are_those_of_the_place(rng):
    daily = fit_daily(record_around_the_clock(rng, 14, 0.4), "America/New_York")
    assert np.argmax(daily.factor) in (22, 23, 0)  # 03:00 UTC is 23:00 there in June
    assert local_hours(np.array([float(JUNE_1)]), "Europe/Lisbon")[0] == pytest.approx(1.0)


def test_hours_never_measured_are_wider(rng):
    daily = fit_daily(record_around_the_clock(rng, 14, 0.3, hours=range(6, 20)), "UTC")
    assert daily.hours_never_measured == (0, 1, 2, 3, 4, 5, 20, 21, 22, 23)
    assert daily.sigma_at(1.5) > daily.sigma_at(12.5)


def test_an_hour_outside_the_record_is_wider_than_one_inside(rng):
    # two days are too few for a pattern: by hand, 2 of 24 hours measured alike, weights 1/2
    daily = fit_daily(record_around_the_clock(rng, 2, 0.3, hours=(9, 14)), "UTC")
    assert not daily.found
    inside, outside = 0.15 * np.sqrt(1 - 1 + 0.5), 0.15 * np.sqrt(1 + 0.5)
    assert daily.sigma[[9, 14]] == pytest.approx([inside, inside])
    assert daily.sigma[[0, 20]] == pytest.approx([outside, outside])
    one_hour = fit_daily(record_around_the_clock(rng, 2, 0.3, hours=(9,)), "UTC")
    assert one_hour.sigma[9] == 0
    assert one_hour.sigma[3] == pytest.approx(0.15 * np.sqrt(2))


def test_an_hour_is_known_after_more_than_minutes(rng):
    few = fit_daily(record_around_the_clock(rng, 2, 0.3, hours=(9, 14)), "UTC")
    assert few.days[9] == 2
    assert few.hours_known == ()
    long = fit_daily(record_around_the_clock(rng, 1, 0.3, hours=(9,), length_s=1800), "UTC")
    assert long.hours_known == (9,)
    many = fit_daily(record_around_the_clock(rng, 3, 0.3, hours=(9, 14)), "UTC")
    assert many.hours_known == (9, 14)


def test_few_days_or_no_clock_give_a_flat_line(rng):
    two_days = fit_daily(record_around_the_clock(rng, 2, 1.0), "UTC")
    assert not two_days.found
    assert (two_days.factor == 1).all()
    runs = MeasuredRuns(
        rates_bps=np.full(30, 5e6), first=np.array([0, 30]), start_s=np.array([np.nan])
    )
    none = fit_daily(runs, "UTC")
    assert (none.n_days, none.measured_s.sum()) == (0, 0.0)
    assert len(none.hours_never_measured) == 24


def test_a_run_without_clock_does_not_blur_its_neighbours():
    runs = MeasuredRuns(
        rates_bps=np.r_[np.full(5, 1e6), np.full(5, 9e6), np.full(5, 1e6)],
        first=np.array([0, 5, 10, 15]),
        start_s=np.array([JUNE_1, np.nan, JUNE_1 + 7200.0]),
    )
    daily = fit_daily(runs, "UTC")
    assert daily.measured_s[0] == 5
    assert daily.measured_s[2] == 5
    assert daily.measured_s.sum() == 10


def test_factor_goes_round_the_clock():
    factor = np.ones(24)
    factor[23] = 3.0
    pattern = DailyPattern(
        factor=factor,
        sigma=np.zeros(24),
        measured_s=np.ones(24),
        n_days=9,
        timezone="UTC",
        found=True,
    )
    assert pattern.factor_at(np.array([0.0, 24.0, 23.5])).tolist() == [2.0, 2.0, 3.0]


def test_an_unknown_zone_is_refused(rng):
    with pytest.raises(InputError, match=r"timezone: expected a name .* got 'Mars/Base'"):
        fit_daily(record_around_the_clock(rng, 1, 0.0), "Mars/Base")
