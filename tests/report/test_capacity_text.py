import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from rich.console import Console

from linkfit.forecast.capacity import AverageRate, forecast_capacity
from linkfit.forecast.draws import Forecast
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.capacity_text import capacity_text


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(5)
    rates = rng.lognormal(np.log(5e6), 0.4, 600)
    rates[100:110] = 0.0
    return fit_link(
        Trace.from_rates(rates, direction="up", start=datetime(2026, 6, 15, 8, tzinfo=UTC))
    )


@pytest.fixture(scope="module")
def found(link):
    return forecast_capacity(link, hour=20.5, below_bps=1e6, n_draws=400)


def shown(found, width=80):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in capacity_text(found):
        console.print(part)
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 40])
def test_everything_is_told_at_any_width(found, width):
    text = shown(found, width)
    assert max(map(len, text.splitlines())) <= width
    flat = " ".join(text.split())
    for part in ("Link up (server to internet)", "measured for 10 min in 1 run", "30 min",
                 "At any time that was measured", "below 1.00 Mbit/s", "Outages: ",
                 "Link down (internet to server) never measured", "At 20:30 (UTC)",
                 "This hour was never measured", "no slowest hour: no daily pattern was found in "
                 "1 day", "averages over 30 min or more", "Not measured"):  # fmt: skip
        assert part in flat, part


def test_each_number_has_its_interval(found):
    text = shown(found)
    rows = [line for line in text.splitlines() if line.startswith(("1 s", "10 s", "1 min"))]
    assert len(rows) == 6  # two moments
    assert all(row.count("bit/s") == 3 for row in rows)
    below = text.splitlines()[text.splitlines().index(rows[0]) + 1]
    assert below.count(" to ") >= 3
    assert below.count("(") == 4


def test_a_floor_says_at_least():
    trace = Trace.from_rates(np.full(600, 4e6), saturating=False, layer="ip", direction="up")
    flat = " ".join(shown(forecast_capacity(fit_link(trace), below_bps=1e6)).split())
    assert "at least 4.00 Mbit/s" in flat
    assert "Share of time below 1.00 Mbit/s: not measured." in flat
    assert "At any time" not in flat
    assert "Outages:" not in flat


def test_no_outage_seen_is_no_promise(found):
    outages = replace(found.up.moments[0].outages, mean_s=None, most_per_day=12.3)
    outages = replace(outages, share=replace(outages.share, value=0.0))
    up = replace(found.up, moments=(replace(found.up.moments[0], outages=outages),))
    flat = " ".join(shown(replace(found, up=up)).split())
    assert "Outages: none seen in 10 min, which leaves up to 12 a day possible (95 %)." in flat


def test_now_and_the_slowest_hour_have_their_headings(found):
    usual = found.up.moments[0]
    moments = (replace(usual, when="now"), replace(usual, when="slowest hour", hour=20.0))
    flat = shown(replace(found, up=replace(found.up, moments=moments)))
    assert "From now on\n" in flat
    assert "Slowest measured hour: 20 to 21 h (UTC)\n" in flat


def test_a_bound_by_counting_needs_more_tests_than_one(found):
    flat = " ".join(shown(found).split())
    assert "the 5 % rates rest on the model: 59 tests" in flat
    assert "and 1 was made" in flat
    many = replace(found, up=replace(found.up, n_tests=59))
    assert "rest on the model" not in shown(many)


def test_an_interval_is_in_the_unit_of_its_number(found):
    world = np.repeat([0, 1], 20)
    rates = np.where(world == 0, 0.0, 262e6)
    rate = Forecast(draws=np.sort(rates), unit="bit/s", world=world)
    average = AverageRate(window_s=1, rate=rate)
    up = replace(found.up, moments=(replace(found.up.moments[0], averages=(average,)),))
    text = shown(replace(found, up=up, below_bps=None))
    assert "(0 to 262)" in text
    assert "262 Mbit/s" in text
    assert "262." not in text
