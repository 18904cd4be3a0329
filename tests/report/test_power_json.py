"""The record of battery and panel."""

import json
import math

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.energy import GbEnergy, HoursGain, MonthHours
from linkfit.report.power_json import power_record
from linkfit.site.hours import Power

HUT = Power(battery_wh=640, load_w=13, panel_w=100, sun_hours=3.5)


def draws(*values, unit="h"):
    return Forecast(draws=np.array(values), unit=unit, world=np.zeros(len(values), np.int32))


def record(**edit):
    december = MonthHours(month=12, sun_hours=1.4, days=draws(2.0, 7.0, 24.0),
                          mean=draws(6.0, 7.5, 9.0), prob_whole_day=0.012345)  # fmt: skip
    energy = GbEnergy(direction="up", whole=draws(5.0, 6.0, math.inf, unit="Wh"), added=None)
    values = {
        "months": [december], "gains": [HoursGain(what="load halved", gain=draws(1.0, 2.0, 3.0))],
        "energies": [energy], "site": "hut", "seed": 3, "gains_month": 12, "notes": ["n"],
        "cautions": ["c"], **edit,
    }  # fmt: skip
    return power_record(HUT, **values)


def test_the_record_says_what_was_taken_and_found():
    found = record()
    assert (found["schema"], found["seed"], found["site"]) == ("linkfit/power/1", 3, "hut")
    assert found["power"]["panel_in_sun_w"] == 60
    assert found["power"]["panel_in_shade_w"] == 17
    assert found["battery_alone_h"] == 41.85
    assert found["battery_alone_days"] == 1.744
    assert found["months"] == [{
        "month": "december", "sun_hours": 1.4, "p05_h": 2.0, "p50_h": 7.0, "p95_h": 24.0,
        "mean_p05_h": 6.0, "mean_p50_h": 7.5, "mean_p95_h": 9.0, "prob_whole_day": 0.0123,
    }]  # fmt: skip
    assert found["changes"] == [{"what": "load halved", "p05_h": 1.0, "p50_h": 2.0, "p95_h": 3.0}]
    [energy] = found["energy_per_gb"]
    assert (energy["p50_wh"], energy["p95_wh"], energy["added"]) == (6.0, None, None)
    json.dumps(found, allow_nan=False)


def test_no_month_is_the_mean_day():
    assert record(gains_month=None)["changes_month"] == "mean day of the year"
