import io
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from rich.console import Console

from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.link_text import direction_figures, family_text, link_text


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
    assert "% lost" not in out


def test_loss_by_chance_and_together_are_told_where_known(link):
    latency = replace(link.latency, random_loss_frac=0.012, mean_burst_probes=1.5)
    out = " ".join(shown(replace(link, latency=latency), 80).split())
    assert "lost by chance, outside outages: 1.2 %" in out
    assert "lost together: 1.5 probes in a row on average" in out
    assert "lost together" not in shown(link, 80)
