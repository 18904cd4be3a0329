import io

import numpy as np
import pytest
from rich.console import Console

from linkfit.forecast.draws import Forecast
from linkfit.report.transfer_text import transfer_text
from linkfit.report.wording import QUANTILES, how_sure, quantile_texts

FORECAST = Forecast(
    draws=np.concatenate([np.linspace(1, 9, 50), np.linspace(41, 99, 50)]), unit="s",
    world=np.repeat([0, 1], 50), parts={"round trips": 0.4, "outages": 0.0, "capacity": 8.6},
    width={"few measurements and drift": 0.25, "the link itself": 0.75},
)  # fmt: skip


def shown(width, **options):
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False)
    console.print(*transfer_text(FORECAST, **options), sep="\n")
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 40])
def test_every_number_is_there_at_any_width(width):
    text = " ".join(shown(width, size_bytes=4e6, flow="out").split())
    assert "4.00 MB out (the server sends: link up)" in text
    for part in (*quantile_texts(FORECAST), *(how_sure(FORECAST, q) for q in QUANTILES)):
        assert part in text
    assert "round trips 400 ms, outages 0 s, capacity 8.6 s" in text


def test_the_other_flow_says_the_other_direction():
    assert "in (the server receives: link down)" in shown(80, size_bytes=1e3, flow="in")


def test_the_spread_has_its_sources():
    text = " ".join(shown(80, size_bytes=4e6, flow="out").split())
    assert "The spread is made of: few measurements and drift 25 %, the link itself 75 %." in text
    assert "Chance" not in text


@pytest.mark.parametrize(
    ("by_s", "chance"),
    [
        (0.5, "<1 % (sure to be within <1 %)"),
        (10.0, "50 % (sure to be within 5 to 95 %)"),
        (200.0, ">99 % (sure to be within >99 %)"),
    ],
)
def test_the_chance_to_end_in_time_is_never_a_certainty(by_s, chance):
    text = " ".join(shown(80, size_bytes=4e6, flow="out", by_s=by_s).split())
    assert f": {chance}." in text


@pytest.mark.parametrize(
    ("options", "start"),
    [
        ({}, "link up)"),
        ({"starts_now": True}, "link up), starting now"),
        ({"hour": 20.0}, "link up), starting at 20:00"),
        ({"hour": 7.5, "starts_now": True}, "link up), starting now at 7:30"),
    ],
)
def test_the_heading_says_when_it_starts(options, start):
    assert shown(80, size_bytes=4e6, flow="out", **options).splitlines()[0].endswith(start)


@pytest.mark.parametrize("width", [80, 40])
def test_requests_transport_and_cautions_are_said(width):
    task = {"n_requests": 60, "n_parallel": 6, "transport": "quic"}
    shown_text = shown(
        width, size_bytes=2e4, flow="out", task=task, cautions=("Mind the gap.", "And this.")
    )
    text = " ".join(shown_text.split())
    assert text.startswith("60 requests of 20.0 kB, 6 at once, by QUIC out (the server sends")
    assert text.endswith("- Mind the gap. - And this.")
