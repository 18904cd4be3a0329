"""The fan of data use: days in order, the same futures that run out, the whole cycle at its end."""

import numpy as np
from numpy.testing import assert_allclose

from linkfit.forecast.data_fan import data_fan
from linkfit.forecast.data_use import forecast_data
from linkfit.site.model import Background, Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan


def site(cap_bytes=None):
    task = Task(name="add", flow="in", size=SizeLaw(median_bytes=3e6, spread=1.6), per_user_day=20)
    return Site(
        name="camp",
        plan=Plan(cap_bytes=cap_bytes),
        services=(Service(name="photos", kind="photo-library", n_users=8, tasks=(task,)),),
        background=(Background(name="updates", bytes_per_day=1e8),),
    )


def test_the_last_day_is_the_use_of_the_cycle():
    data = forecast_data(site(), seed=3, n_draws=200)
    fan = data_fan(data, seed=3)
    assert fan.day_ends_days[-1] == data.cycle_days
    assert_allclose(fan.used[-1].draws, data.use.draws)


def test_no_future_uses_less_the_next_day():
    fan = data_fan(forecast_data(site(), seed=1, n_draws=100), seed=1)
    days = np.array([used.draws for used in fan.used])
    assert (np.diff(days, axis=0) >= 0).all()


def test_futures_over_the_cap_by_a_day_are_those_that_run_out_by_it():
    data = forecast_data(site(cap_bytes=14e9), seed=5)
    fan = data_fan(data, seed=5)
    assert 0.05 < data.prob_over_cap < 0.95
    for end, used in zip(fan.day_ends_days[:-1], fan.used[:-1], strict=True):
        assert float(np.mean(used.draws > 14e9)) == data.runs_out.prob_within(end)
