import io
from dataclasses import replace

import pytest
from rich.console import Console

from linkfit.forecast.interactive_forecast import forecast_interactive
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.estimates import rate_text, share_texts
from linkfit.report.interactive_text import interactive_text


def shown(found, width=80):
    out = io.StringIO()
    Console(file=out, width=width, markup=False).print(*interactive_text(found), sep="\n")
    assert all(len(line) <= width for line in out.getvalue().splitlines())
    return " ".join(out.getvalue().split())


@pytest.fixture(scope="module")
def link():
    return fit_link(Trace.from_quick_numbers(up_bps=6e6, rtt_s=0.05))


@pytest.fixture(scope="module")
def found(link):
    return forecast_interactive(link)


@pytest.mark.parametrize("width", [80, 40])
def test_every_share_verdict_and_limit_is_there_at_any_width(found, width):
    text = shown(found, width)
    for cell in found.cells:
        assert cell.verdict in text
        assert share_texts(cell.share)[1] in text
        assert f"While {cell.situation}:" in text
    for limit in found.limits:
        assert limit.name in text
    assert "(link up)" in text
    assert "emergency calls" in text


def test_it_starts_with_the_limit_to_set(found):
    limit = found.limits[2].limit
    assert f"set a limit of at most {rate_text(limit)}" in shown(found)


def test_what_was_not_measured_is_said(found, link):
    text = shown(found)
    assert "Nobody measured round trips while the link was busy" in text
    assert "Round trips measured: 1." in text
    stated = shown(forecast_interactive(link, buffer_bytes=3e5))
    assert "The buffer before the link is as stated" in stated


def test_a_floor_is_said(found):
    assert "are a floor" not in shown(found)
    assert "are a floor" in shown(replace(found, is_floor=True))


def test_what_no_limit_helps_and_what_needs_none_is_said():
    slow = fit_link(Trace.from_quick_numbers(up_bps=6e6, rtt_s=0.6))
    text = shown(forecast_interactive(slow, buffer_bytes=1e3))
    assert "no limit helps: with nothing else sent only" in text
    assert "none needed" in text
