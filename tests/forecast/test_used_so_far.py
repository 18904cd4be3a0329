"""Measured use so far: the past is fixed, the rest follows its level."""

from datetime import datetime

import numpy as np
import pytest
from numpy.testing import assert_allclose

from linkfit.errors import InputError
from linkfit.forecast.data_use import forecast_data
from linkfit.forecast.plan_use import DAY_COV
from linkfit.forecast.used_so_far import CyclePlace, SoFar, check_used, measured_level, with_used
from linkfit.site.model import Background, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=25.0)
PHOTOS = Service(name="photos", kind="photo-library", n_users=8, tasks=(ADD,))
HUM = Background(name="hum", bytes_per_day=50e6)
PLAN = Plan(cap_bytes=30e9, cycle_day=5)
SITE = Site(name="x", services=(PHOTOS,), background=(HUM,), plan=PLAN)
HALF = CyclePlace(start=datetime(2026, 6, 5), cycle_days=30.0, elapsed_days=15.0)
EXPECTED = float(np.mean(forecast_data(SITE).use.draws))


def updated(used_bytes, place=HALF, seed=0):
    data = forecast_data(SITE, seed=seed, cycle_days=place.cycle_days)
    return on_level(data, used_bytes, place, seed)


def on_level(data, used_bytes, place, seed):
    level = measured_level(data, used_bytes=used_bytes, place=place, seed=seed)
    so_far = SoFar(place=place, used_bytes=used_bytes, level=level)
    return with_used(data, PLAN, so_far, up_frac=1.0, seed=seed)


def test_the_cycle_that_holds_a_day_is_found_whatever_the_month():
    place = CyclePlace.at(datetime(2026, 6, 14, 12), 5)
    assert (place.start, place.cycle_days, place.elapsed_days) == (datetime(2026, 6, 5), 30.0, 9.5)
    short = CyclePlace.at(datetime(2026, 3, 1), 31)  # February ends on the 28th
    assert (short.start, short.cycle_days) == (datetime(2026, 2, 28), 31.0)
    first = CyclePlace.at(datetime(2026, 6, 5), 5)
    assert first.elapsed_days == 0.0
    assert CyclePlace.at(datetime(2026, 6, 4, 23), 5).start == datetime(2026, 5, 5)
    assert place.moment(10.5) == datetime(2026, 6, 15, 12)


def test_the_past_is_fixed_and_the_ledger_still_adds_up():
    data = updated(20e9)
    assert data.use.draws.min() > 20e9
    assert_allclose(sum(e.use.draws for e in data.ledger), data.use.draws)
    assert (data.runs_out.draws > 15.0).all()


def test_more_used_means_more_to_come_and_sooner_out():
    low, middle, high = (updated(factor * EXPECTED / 2) for factor in (0.5, 1.0, 2.0))
    rests = [float(d.use.quantile(0.5)) for d in (low, middle, high)]
    assert rests[0] < rests[1] < rests[2]
    assert low.prob_over_cap <= middle.prob_over_cap <= high.prob_over_cap
    # as foreseen: half is left, within what a level taken from 15 days can tell
    assert rests[1] == pytest.approx(EXPECTED, rel=0.1)


def test_what_is_left_to_come_agrees_with_the_updated_cycle():
    data = forecast_data(SITE)
    level = measured_level(data, used_bytes=20e9, place=HALF, seed=0)
    so_far = SoFar(place=HALF, used_bytes=20e9, level=level)
    rest = so_far.rest(data.use, np.random.default_rng(1))
    assert so_far.left_days == 15.0
    expected = (updated(20e9).use.draws - 20e9).mean()
    assert rest.draws.mean() == pytest.approx(expected, rel=0.1)


def test_late_in_the_cycle_the_measurement_decides_and_early_the_habits():
    late = CyclePlace(start=datetime(2026, 6, 5), cycle_days=30.0, elapsed_days=29.0)
    assert updated(50e9, late).use.quantile(0.5) == pytest.approx(50e9 * 30 / 29, rel=0.02)
    early = CyclePlace(start=datetime(2026, 6, 5), cycle_days=30.0, elapsed_days=0.0)
    nothing_known = updated(1e6, early).use.quantile([0.05, 0.5, 0.95])
    before = forecast_data(SITE).use.quantile([0.05, 0.5, 0.95])
    assert nothing_known[2] - nothing_known[0] > before[2] - before[0]


# Calibration against simulated cycles: a level off by the prior's own law, days of the gamma law.
@pytest.mark.slow
def test_the_interval_holds_what_a_simulated_cycle_used():
    rng = np.random.default_rng(7)
    base = forecast_data(SITE, seed=3)
    inside = []
    for _ in range(150):
        total = rng.choice(base.use.draws) * np.exp(0.3 * rng.standard_t(3))
        days = rng.standard_gamma(1 / DAY_COV**2, 30)
        used = total * days[:12].sum() / days.sum()
        place = CyclePlace(start=datetime(2026, 6, 5), cycle_days=30.0, elapsed_days=12.0)
        data = on_level(base, used, place, 1)
        low, high = data.use.quantile([0.05, 0.95])
        inside.append(low <= total <= high)
    # 90 % of 150, 4 standard errors of a binomial
    assert abs(np.mean(inside) - 0.9) < 4 * np.sqrt(0.9 * 0.1 / 150)


def test_what_cannot_be_is_refused():
    with pytest.raises(InputError, match=r"--used: expected at most the 30.0 GB after which"):
        check_used(31e9, PLAN, HALF, None)
    with pytest.raises(InputError, match=r"--used: expected at most 3.24 GB, twice what"):
        check_used(3.3e9, PLAN, HALF, 1e4)
    with pytest.raises(InputError, match=r"--used: expected a use within a factor of 40 of the"):
        updated(1e15)
    with pytest.raises(InputError, match=r"--used: .* got 0 B after 15.0 days; correct"):
        updated(0.0)
    for year in (1, 9999):
        with pytest.raises(InputError, match=r"--on: expected a year from 1990 to 2200, got"):
            CyclePlace.at(datetime(year, 12, 31), 5)
    check_used(31e9, Plan(cap_bytes=30e9, throttle_bps=1e5), HALF, None)
    check_used(29e9, PLAN, HALF, 1e6)
