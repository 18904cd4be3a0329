"""Figures against pictures of them that were looked at; small differences of rendering pass."""

import io
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread, imsave

from linkfit.forecast.burn_down import SHARES_DONE, BurnDown
from linkfit.forecast.data_fan import DataFan
from linkfit.forecast.draws import Forecast
from linkfit.link.latency import LatencyModel
from linkfit.report.page.link_curve_figures import latency_figure
from linkfit.report.page.load_figures import burn_down_figure, fan_figure, payload_figure
from linkfit.report.page.week_map import WeekMap, week_figure
from linkfit.site.model import Backlog, SizeLaw

GOLDEN = Path(__file__).parents[2] / "golden" / "figures"
# mean difference of blocks of pixels, of 1: rounding of ink in another release of the drawing
# library stays below, a curve that is gone (0.005) does not
MOST_DIFFERENCE = 0.003
_BLOCK = 4


def forecast(values, unit):
    draws = np.asarray(values, dtype=float)
    return Forecast(draws=draws, unit=unit, world=np.zeros(draws.size, dtype=np.int32))


def payloads():
    sizes = (1e4, 1e5, 1e6, 1e7, 1e8, 1e9)
    up = tuple((s, forecast(0.1 + s / 5e5 * np.array([0.5, 1, 3]), "s")) for s in sizes)
    down = tuple((s, forecast(0.1 + s / 2e6 * np.array([0.6, 1, 2]), "s")) for s in sizes)
    return payload_figure({"up": up, "down": down})


def fan():
    days = np.arange(1.0, 31.0)
    used = tuple(forecast(day * np.linspace(1e9, 4e9, 41), "bytes") for day in days)
    return fan_figure(DataFan(day_ends_days=tuple(days), used=used, cap_bytes=60e9))


def burn():
    backlog = Backlog(name="season photos", n_items=9, size=SizeLaw(median_bytes=1e6))
    days = tuple(forecast(n * np.linspace(0.4, 0.8, 21), "days") for n in range(1, 11))
    return burn_down_figure(BurnDown(backlog=backlog, shares_done=SHARES_DONE, days=days))


def latency():
    return latency_figure(
        LatencyModel(idle_rtts_s=np.geomspace(0.03, 0.2, 201),
                     loaded_rtts_s=np.geomspace(0.1, 2.0, 201), loss_frac=0.0, n_idle=99,
                     n_loaded=99)
    )  # fmt: skip


def week():
    n = np.zeros((24, 7), dtype=np.int64)
    n[6:22:3] = 1
    rates = np.where(n > 0, 1e6 * (3 + np.arange(24)[:, None] / 2 + np.arange(7)), 0.0)
    return week_figure(
        WeekMap(median_bps=rates, measured_s=60.0 * n, n_pieces=n, timezone="Europe/Lisbon"), "up"
    )


def blocks(data):
    """Means of blocks of pixels, so that a line that lies a pixel off differs little."""
    pixels = imread(io.BytesIO(data))[..., :3]
    high, wide = (side // _BLOCK * _BLOCK for side in pixels.shape[:2])
    return (
        pixels[:high, :wide]
        .reshape(high // _BLOCK, _BLOCK, wide // _BLOCK, _BLOCK, 3)
        .mean(axis=(1, 3))
    )


@pytest.mark.parametrize("draw", [payloads, fan, burn, latency, week], ids=lambda d: d.__name__)
def test_the_figure_looks_as_it_did(draw, request):
    stream = io.BytesIO()
    draw().savefig(stream, format="png", dpi=80, metadata={"Software": None})
    found = blocks(stream.getvalue())
    path = GOLDEN / f"{draw.__name__}.png"
    if request.config.getoption("--regen"):
        path.parent.mkdir(parents=True, exist_ok=True)
        imsave(path, np.round(found, 3), metadata={"Software": None})
    assert path.exists(), f"{path.name}: run pytest --regen once, then look at the picture"
    wanted = imread(path)[..., :3]
    assert found.shape == wanted.shape
    assert float(np.abs(found - wanted).mean()) < MOST_DIFFERENCE


def test_the_tolerance_catches_curves_that_are_gone():
    stream = io.BytesIO()
    figure = latency()
    for line in list(figure.axes[0].lines):
        line.remove()
    figure.savefig(stream, format="png", dpi=80)
    wanted = imread(GOLDEN / "latency.png")[..., :3]
    assert float(np.abs(blocks(stream.getvalue()) - wanted).mean()) > MOST_DIFFERENCE
