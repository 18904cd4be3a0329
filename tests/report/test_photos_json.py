"""The record of choices of stored pictures."""

import json

import numpy as np

from linkfit.forecast.draws import Forecast
from linkfit.forecast.photo_choices import PhotoChoice, PhotoTable
from linkfit.report.photos_json import photos_record
from linkfit.site.model import Image, Service, Site, SizeLaw, Task

TASK = Task(name="view", flow="out", size=SizeLaw(median_bytes=2e5), image=Image(edge_px=1440))
SERVICE = Service(name="s", kind="own", n_users=2, tasks=(TASK,))


def drawn(value, unit):
    return Forecast(draws=np.full(8, value), unit=unit, world=np.arange(8) % 4)


def choice(edge_px, cycle_bytes, time_s=2.0, present=False):
    return PhotoChoice(
        image=Image(edge_px=edge_px), size=SizeLaw(median_bytes=2e5), time=drawn(time_s, "s"),
        prob_within_target=None, n_max_users=None, n_max_users_low=None, n_max_users_high=None,
        month=drawn(1e8, "bytes"), cycle=drawn(cycle_bytes, "bytes"), present=present,
    )  # fmt: skip


TABLE = PhotoTable(
    service=SERVICE, task=TASK,
    choices=(choice(1440, 5e9, present=True), choice(3000, 4e9), choice(720, 6e9, np.inf)),
)  # fmt: skip


def test_savings_count_against_the_present_and_never_is_null():
    record = photos_record(Site(name="hut", services=(SERVICE,)), [TABLE], seed=3)
    assert json.loads(json.dumps(record)) == record
    choices = record["tasks"][0]["choices"]
    assert [c["cycle_saved_bytes"] for c in choices] == [0, 1e9, -1e9]
    assert choices[2]["p95_s"] is None
    assert choices[1]["extrapolated"] == "edge: measured from 250 to 2560 px, got 3000 px"
