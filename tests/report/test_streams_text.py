import io
from dataclasses import replace

import numpy as np
import pytest
from rich.console import Console

from linkfit.forecast.draws import Forecast
from linkfit.forecast.stream_forecast import forecast_streams
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.streams_text import streams_text
from linkfit.site.plan import Plan


def shown(found, width=80):
    out = io.StringIO()
    Console(file=out, width=width, markup=False).print(*streams_text(found), sep="\n")
    assert all(len(line) <= width for line in out.getvalue().splitlines())
    return " ".join(out.getvalue().split())


@pytest.fixture(scope="module")
def found():
    return forecast_streams(fit_link(Trace.from_quick_numbers(up_bps=6e6)), cap_bytes=60e9)


@pytest.mark.parametrize("width", [80, 40])
def test_every_stream_is_there_at_any_width(found, width):
    text = shown(found, width)
    for one in found.films:
        assert one.name in text
        assert f"{one.n_low} to {one.n_high}" in text
    assert "(link up)" in text
    assert "The plan holds 60.0 GB a month and counts both directions." in text


def test_it_starts_with_the_best_that_plays_and_one_camera(found):
    best = [one for one in found.films if one.n_most > 0][-1]
    text = shown(found)
    assert f"The best that plays is {best.name}" in text
    starts = found.starts_per_h(best)
    assert "So that 95 % of them find room (Erlang B), " in text
    assert f" {starts.value:.2g} ({starts.low:.2g} to {starts.high:.2g}) may start an hour." in text
    assert "One camera live (640x360, 5 frames/s, 500 kbit/s): " in text
    assert "a month if the plan were for it alone." in text


def test_minutes_have_two_digits_that_mean_something(found):
    month = Forecast(draws=np.full(10, 14_188 * 60.0), unit="s", world=np.zeros(10))
    few = Forecast(draws=np.full(10, 7.4 * 60.0), unit="s", world=np.zeros(10))
    for forecast, said in ((month, "14000 min a month"), (few, "7 min a month")):
        feeds = tuple(replace(one, month_alone=forecast) for one in found.feeds)
        assert said in shown(replace(found, feeds=feeds))


def test_a_link_on_which_nothing_plays_and_a_plan_that_is_unknown_are_said():
    text = shown(forecast_streams(fit_link(Trace.from_quick_numbers(up_bps=2e5))))
    assert "Not even 360p (700 kbit/s) plays well: only" in text
    assert "Minutes a month need the plan: --cap or --site." in text


def test_a_floor_is_said(found):
    assert "more may fit" not in shown(found)
    assert "more may fit" in shown(replace(found, is_floor=True))


def test_the_rules_of_the_plan_and_the_sun_behind_the_hours_are_said(found):
    plan = Plan(cap_bytes=60e9, tether_bytes=30e9, counted="up", carry_over_bytes=20e9,
                round_up_bytes=1e6)  # fmt: skip
    text = shown(replace(found, plan=plan, hours_assumed="hours of power: 7.0 h a day"))
    assert (
        "The plan holds 30.0 GB a month and counts what goes up, the part that a hotspot's "
        "clients may use; each session is rounded up to whole 1.00 MB; used up each month, it "
        "has nothing to carry over: a month after an idle one has up to 20.0 GB more." in text
    )
    assert "- Hours of power: 7.0 h a day." in text
