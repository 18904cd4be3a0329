"""What can go: savings add up with the ledger, and a local name takes the way out and back."""

from dataclasses import replace

import numpy as np
from numpy.testing import assert_allclose

from linkfit.forecast.data_savings import LOCAL_NAME, savings, unasked
from linkfit.forecast.data_use import SECOND_CROSSING, forecast_data
from linkfit.site.model import Background, PathLimits, Service, Site, SizeLaw, Task

ADD = Task(name="add", flow="in", size=SizeLaw(median_bytes=3.5e6, spread=1.6), per_user_day=8.0)
FINDS = Service(name="finds", kind="photo-library", n_users=6, tasks=(ADD,))
HUM = Background(name="hum", bytes_per_day=50e6)
FEED = Background(name="feed", bytes_per_day=90e6)
FIXED = Background(name="keepalive", bytes_per_day=2e5, optional=False)
SITE = Site(name="x", services=(FINDS,), background=(HUM, FEED, FIXED),
            path=PathLimits(same_link_share_frac=0.4))  # fmt: skip


def test_each_background_cause_that_can_go_saves_what_it_uses():
    data = forecast_data(SITE)
    saved = {saving.name: saving.saved.draws for saving in savings(SITE, data, forecast_data)}
    assert saved.keys() == {"hum", "feed", LOCAL_NAME}
    for entry in data.ledger:
        if entry.cause in ("hum", "feed"):
            assert_allclose(saved[entry.cause], entry.use.draws, rtol=1e-6)


# Arithmetic: of 40 % that go out and back, both crossings go with a local name
def test_a_local_name_saves_both_crossings():
    data = forecast_data(SITE)
    saved = {s.name: s.saved.draws for s in savings(SITE, data, forecast_data)}[LOCAL_NAME]
    by_cause = {entry.cause: entry.use.draws for entry in data.ledger}
    assert_allclose(saved, by_cause[SECOND_CROSSING] + 0.4 * by_cause["add"], rtol=1e-6)
    assert_allclose(by_cause[SECOND_CROSSING], 0.4 * by_cause["add"], rtol=1e-6)


def test_the_largest_saving_comes_first_and_nobody_on_the_link_saves_nothing():
    alone = replace(SITE, path=PathLimits())
    found = savings(alone, forecast_data(alone), forecast_data)
    assert [saving.name for saving in found] == ["feed", "hum"]


def test_what_nobody_asked_for_is_background_and_second_crossings():
    data = forecast_data(SITE)
    wanted = next(entry for entry in data.ledger if entry.cause == "add")
    assert_allclose(unasked(data).draws, data.use.draws - wanted.use.draws)
    quiet = replace(SITE, background=(), path=PathLimits())
    assert np.max(unasked(forecast_data(quiet)).draws) == 0
