import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from rich.console import Console

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.link.weekly import WeeklyPattern, unknown_week
from linkfit.report.link_text import (
    direction_figures,
    family_text,
    link_text,
    measured_text,
    weekly_text,
)


@pytest.fixture(scope="module")
def link():
    rng = np.random.default_rng(5)
    rates = rng.lognormal(np.log(5e6), 0.4, 600)
    rates[100:110] = 0.0
    start = datetime(2026, 6, 15, 8, tzinfo=UTC)
    up = Trace.from_rates(rates, direction="up", start=start)
    return fit_link(Trace.merge([up, Trace.from_quick_numbers(down_bps=2e7, rtt_s=0.05)]))


def shown(link, width):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False, emoji=False, highlight=False)
    for part in link_text(link):
        console.print(part)
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 40])
def test_every_figure_is_told_at_any_width(link, width):
    text = shown(link, width)
    assert max(map(len, text.splitlines())) <= width
    flat = " ".join(text.split())
    for part in ("Link up (server to internet)", "Link down (internet to server)", "Round trip",
                 "1 seen", "Not measured", "10 s"):  # fmt: skip
        assert part in flat, part


def test_a_direction_or_round_trip_never_measured_is_said_so():
    text = shown(fit_link(Trace.from_quick_numbers(up_bps=5e6)), 80)
    assert "Link down (internet to server)\nnever measured" in text
    assert "Round trip\nnever measured" in text


def test_the_family_is_named_only_with_how_well_it_fits(link):
    model = link.direction("up")
    marginal = model.marginal
    said = {p: family_text(replace(model, marginal=replace(marginal, p_value=p)))
            for p in (None, 0.5, 0.001)}  # fmt: skip
    assert "not tested" in said[None]
    assert said[0.5].endswith("fits (p = 0.5 in a bootstrap by blocks)")
    assert said[0.001].startswith("none fits;")
    assert family_text(replace(model, marginal=replace(marginal, families=()))).startswith(
        "too few"
    )


def test_lower_bounds_only_is_a_warning_of_its_own(link):
    model = link.direction("up")
    assert "mind" not in dict(direction_figures(model))
    assert "floor" in dict(direction_figures(replace(model, lower_bound_only=True)))["mind"]


def test_round_trips_told_by_transfers_are_said_to_be():
    link = fit_link(Trace.from_transfers([1e5, 1e6] * 10, [0.5, 1.5] * 10))
    out = " ".join(shown(link, 80).split())
    assert "No probe measured it: these round trips are those that explain how long" in out
    assert "up: no test measured capacity; the rates are those that explain how long" in out
    assert "% lost" not in out


def test_loss_by_chance_and_together_are_told_where_known(link):
    latency = replace(link.latency, random_loss_frac=0.012, mean_burst_probes=1.5)
    out = " ".join(shown(replace(link, latency=latency), 80).split())
    assert "lost by chance, outside outages: 1.2 %" in out
    assert "lost together: 1.5 probes in a row on average" in out
    assert "lost together" not in shown(link, 80)


def test_a_link_of_lower_bounds_says_at_least(rng):
    link = fit_link(Trace.from_rates(rng.random(600) * 5e6, saturating=False, layer="ip"))
    text = " ".join(shown(link, 80).split())
    assert "At least this, and nobody knows how much more" in text
    assert "at least 2." in text or "at least 3." in text  # Mbit/s; averages over 10 s
    assert "outages none seen" not in text
    assert "correlation" not in text


def test_one_run_is_one_run(link):
    model = replace(link.direction("up"), n_tests=1, measured_s=10.0)
    assert measured_text(model) == "1 run, 10 s in all"
    assert measured_text(replace(model, n_tests=2)) == "2 runs, 10 s in all"


@pytest.mark.parametrize(
    ("week", "said"),
    [
        (unknown_week(), "no time of day was measured"),
        (unknown_week(0, 3), "Saturdays and Sundays were never measured"),
        (unknown_week(1, 0), "Mondays to Fridays were never measured"),
        (unknown_week(1, 4), "too few days to tell: 1 weekend day and 4 other days"),
        (unknown_week(4, 10), "none found in 4 weekend days and 10 other days"),
    ],
)
def test_a_week_that_is_not_known_says_why(week, said):
    assert weekly_text(week) == said


def test_a_weekly_pattern_has_its_interval():
    week = WeeklyPattern(factor=0.8, sigma=0.1, n_weekend_days=4, n_weekdays=10, found=True)
    said = weekly_text(week)
    assert said.startswith("0.80 times the rate of other days on Saturdays and Sundays (90 %: 0.68")
    assert "to 0.94" in said  # 0.8 exp(+-1.645 x 0.1) by hand: 0.679 and 0.943
