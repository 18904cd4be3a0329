"""The record of users: numbers as forecast, null where users make no difference."""

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.user_limits import UserLimit
from linkfit.forecast.users import DirectionUse, ServiceUsers, TaskUsers, UsersForecast
from linkfit.report.users_json import users_record
from linkfit.site.model import Service, Site, SizeLaw, Task
from linkfit.site.plan import Plan

GET = Task(name="get", flow="out", size=SizeLaw(median_bytes=1e6), target_s=10.0)
ECHO = Task(name="echo", flow="out", size=SizeLaw(median_bytes=1e2))


def forecast(values, unit):
    return Forecast(draws=np.array(values, float), unit=unit, world=np.zeros(len(values), int))


def found(limit):
    service = Service(name="photos", kind="x", n_users=4, tasks=(GET, ECHO))
    use = DirectionUse(
        direction="up", others_frac=0.25, one_user_frac=0.05,
        n_full=forecast([12.0, 15.0, 18.0], "users"),
    )  # fmt: skip
    tasks = (
        TaskUsers(task=GET, limit=limit, curve=((1, forecast([1.0, 2.0, 9.0], "s")),)),
        TaskUsers(task=ECHO, limit=None),
    )
    one = ServiceUsers(service=service, limit=limit, first_slow="get", tasks=tasks, uses=(use,))
    site = Site(name="camp", plan=Plan(), services=(service,))
    return UsersForecast(site=site, seed=3, hour=20.0, services=(one,))


def test_the_record_holds_every_number():
    record = users_record(found(UserLimit(n_users=7, n_low=5, n_high=9, at_limit=False)))
    assert (record["schema"], record["seed"], record["busy_hour_h"]) == ("linkfit/users/1", 3, 20.0)
    [one] = record["services"]
    assert (one["max_users_low"], one["max_users"], one["max_users_high"]) == (5, 7, 9)
    assert one["fills_first"] == "up"
    assert one["directions"][0]["busy_frac"] == 0.45
    assert one["directions"][0]["p50_full_users"] == 15
    get, echo = one["tasks"]
    assert get["curve"][0]["busy_frac"] == {"up": 0.3}
    assert get["curve"][0]["prob_within_target"] == 1.0
    assert get["curve"][0]["p95_s"] == 9.0
    assert echo["max_users"] is None
    assert echo["curve"] == []


def test_no_limit_is_null():
    [one] = users_record(found(None))["services"]
    assert one["max_users"] is one["max_users_low"] is one["max_users_at_limit"] is None
