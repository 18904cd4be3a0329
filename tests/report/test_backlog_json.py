"""The record of a backlog."""

import json
import math
from datetime import date

import numpy as np
import pytest

from linkfit.forecast.chances import Chance
from linkfit.forecast.draws import Forecast
from linkfit.forecast.nights import Answer, Nights, Waiting
from linkfit.forecast.outcomes import BacklogForecast, Easing
from linkfit.report.backlog_json import answer_record, backlog_record, day_after
from linkfit.site.hours import DayWindow
from linkfit.site.model import Backlog, SizeLaw


def forecast(*days, **other):
    films = Backlog(
        name="films", n_items=2, size=SizeLaw(median_bytes=1e9), deadline=date(2026, 7, 31)
    )
    draws = Forecast(draws=np.array(days), unit="days", world=np.zeros(len(days), np.int32))
    values = {"backlog": films, "days": draws, "binding": "rate", "binding_frac": {"rate": 1.0},
              "by_deadline": Chance(prob=0.123456, low_prob=0.1, high_prob=0.2)}  # fmt: skip
    return BacklogForecast(**{**values, **other})


def test_never_is_null_and_numbers_are_rounded():
    record = backlog_record(forecast(2.000001, 3.0, math.inf))
    assert (record["p05_days"], record["p50_days"], record["p95_days"]) == (2.0, 3.0, None)
    keys = ("prob_by_deadline", "prob_by_deadline_low", "prob_by_deadline_high")
    assert [record[key] for key in keys] == [0.1235, 0.1, 0.2]
    unjudged = backlog_record(forecast(2.0, by_deadline=None))
    assert [unjudged[key] for key in keys] == [None] * 3
    assert record["deadline"] == "2026-07-31"
    json.dumps(record, allow_nan=False)


@pytest.mark.parametrize(("days", "day"), [
    (0.1, "2026-06-29"), (0.25, "2026-06-29"), (0.26, "2026-06-30"), (1.25, "2026-06-30"),
    (math.inf, None), (1e9, None),
])  # fmt: skip
def test_the_day_on_which_it_ends(days, day):
    assert day_after(date(2026, 6, 29), 18.0, days) == day


def test_what_is_eased_and_asked_besides():
    draws = Forecast(draws=np.array([1.0, math.inf]), unit="days", world=np.zeros(2, np.int32))
    one = forecast(
        2.0, 3.0, start=date(2026, 6, 29),
        easings=(Easing(what="10 GB more plan", constraint="data plan", sooner=draws, days=draws),),
    )  # fmt: skip
    nights = Nights(
        length_h=6.0, first=Chance(prob=0.25, low_prob=0.2, high_prob=0.4), nights=draws
    )
    record = answer_record(Answer(forecast=one, nights=nights))
    assert record["p95_date"] == "2026-07-01"
    assert record["sooner"][0] == {
        "what": "10 GB more plan", "constraint": "data plan", "p05_days": 1.0, "p50_days": 1.0,
        "p95_days": None, "done_p50_days": 1.0,
    }  # fmt: skip
    assert record["nights"]["prob_first"] == 0.25
    assert (record["nights"]["prob_first_low"], record["nights"]["prob_first_high"]) == (0.2, 0.4)
    assert record["waiting"] is None
    waiting = Waiting(window=DayWindow(start_h=23, end_h=5), now=draws, waited=draws, later=draws,
                      times_as_fast=None)  # fmt: skip
    assert answer_record(Answer(forecast=one, waiting=waiting))["waiting"]["later"] == {
        "p05_days": 1.0, "p50_days": 1.0, "p95_days": None
    }  # fmt: skip
    json.dumps(record, allow_nan=False)
