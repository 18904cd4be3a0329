"""How often transfers that cannot resume are broken."""

from types import SimpleNamespace

import numpy as np
import pytest

from linkfit.forecast.breaks import breaks_per_h, outages_per_up_hour
from linkfit.link.paths import CapacityPaths
from linkfit.site.model import Backlog, SizeLaw

FILMS = Backlog(name="films", n_items=3, size=SizeLaw(median_bytes=1e9), resumable=False)


def test_outages_are_counted_when_long_enough():
    rates = np.ones((2, 7200))
    rates[0, 100:130] = 0.0
    rates[0, 500:503] = 0.0  # 3 s: a transfer survives it
    rates[1, 7000:7100] = 0.0
    up_h = (2 * 7200 - 133) / 3600
    paths = CapacityPaths.from_rates(rates * 1e6)
    assert outages_per_up_hour(paths, 10.0) == pytest.approx(2 / up_h)
    assert outages_per_up_hour(paths) == pytest.approx(1 / up_h)  # no timeout known: a minute


def test_the_end_of_each_day_breaks_what_runs():
    steady = SimpleNamespace(
        paths=lambda *_, **__: CapacityPaths.from_rates(np.full((2, 600), 1e6))
    )
    opened = np.resize([0.0] * 6 + [1.0] * 12 + [0.0] * 6, (1, 48))  # 12 of 24 hours, two days
    found = breaks_per_h(FILMS, steady, ("up",), opened, 1.0, 0, 4)
    assert found == pytest.approx(np.full(4, 2 / 24))
    resuming = Backlog(name="films", n_items=3, size=SizeLaw(median_bytes=1e9))
    assert not breaks_per_h(resuming, steady, ("up",), opened, 1.0, 0, 4).any()


def test_the_path_s_timeout_says_what_breaks():
    rates = np.full((2, 14400), 1e6)
    rates[:, 5000:5080] = 0.0
    link = SimpleNamespace(paths=lambda *_, **__: CapacityPaths.from_rates(rates))
    opened = np.ones((1, 48))
    hasty, patient = (
        breaks_per_h(FILMS, link, ("up",), opened, 1.0, 0, 4, timeout_s=timeout_s)
        for timeout_s in (30.0, 100.0)
    )
    assert (hasty > 0).all()
    assert not patient.any()
