import io

import numpy as np
import pytest
from rich.console import Console

from linkfit.forecast.draws import Forecast
from linkfit.report.transfer_text import transfer_text


def shown(width, **options):
    forecast = Forecast(
        draws=np.arange(1.0, 101.0), unit="s", world=np.arange(100) % 2,
        parts={"round trips": 0.4, "outages": 0.0, "capacity": 49.6},
    )  # fmt: skip
    out = io.StringIO()
    console = Console(file=out, width=width, markup=False)
    console.print(*transfer_text(forecast, **options), sep="\n")
    return out.getvalue()


@pytest.mark.parametrize("width", [80, 40])
def test_every_number_is_there_at_any_width(width):
    text = " ".join(shown(width, size_bytes=4e6, flow="out").split())
    assert "4.00 MB out (the server sends: link up)" in text
    for part in ("5.0 s", "50 s", "95 s", "49 to 50 s", "95 to 96 s"):
        assert part in text
    assert "round trips 400 ms, outages 0 s, capacity 50 s" in text


def test_the_other_flow_says_the_other_direction():
    assert "in (the server receives: link down)" in shown(80, size_bytes=1e3, flow="in")
