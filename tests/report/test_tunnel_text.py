import io

import numpy as np
import pytest
from rich.console import Console

from linkfit.forecast.keepalive import forecast_keepalive
from linkfit.forecast.tunnel import safe_sizes, tunnel_sizes
from linkfit.ingest.trace import Trace
from linkfit.link.fit import fit_link
from linkfit.report.tunnel_text import tunnel_text


@pytest.fixture(scope="module")
def link():
    rates = np.random.default_rng(4).lognormal(np.log(6e6), 0.4, 600)
    return fit_link(Trace.from_rates(rates, direction="up"), seed=0)


def shown(link, width=80, sizes=None, translated=None, cap_bytes=None, **asked):
    out = io.StringIO()
    parts = tunnel_text(
        forecast_keepalive(link, n_rows=40, **asked), sizes or tunnel_sizes(), safe_sizes(60.0),
        translated=translated, cap_bytes=cap_bytes,
    )  # fmt: skip
    Console(file=out, width=width, markup=False).print(*parts, sep="\n")
    return " ".join(out.getvalue().split())


@pytest.mark.parametrize("width", [80, 40])
def test_interval_cost_and_sizes_stand_at_any_width(link, width):
    text = shown(link, width, timer_s=120.0, cap_bytes=60e9)
    assert "* Say hello every 96 s: " in text
    assert "<1 % of the plan" in text
    assert "Every 48 s one lost hello does no harm" in text
    assert "MTU to 1280 B and clamp the MSS in both directions to 1240 B (IPv4) and 1220 B" in text
    assert "between 1280 and 1440 B" in text


def test_the_timer_is_held_against_the_standard(link):
    assert "2.0 min, as you measured it (RFC 4787 REQ-5: at least 2.0 min)" in shown(
        link, timer_s=120.0
    )
    assert "less than the 2.0 min that RFC 4787 REQ-5 asks for" in shown(link, timer_s=30.0)
    assert "was not measured: 30 s assumed" in shown(link)
    assert "RFC 5382 REQ-5 asks for at least 2.1 h" in shown(link, transport="tcp")


def test_more_often_than_recommended_says_so(link):
    assert "more often than RFC 8085 recommends" in shown(link, timer_s=30.0)
    assert "more often than RFC 8085 recommends" not in shown(link, timer_s=120.0)


def test_intervals_beyond_the_timer_lose_the_mapping_each_time(link):
    assert "each time" in shown(link, timer_s=60.0)


def test_the_address_and_a_small_link_are_told(link):
    text = shown(
        link, translated=(True, "100.72.3.4 lies there"), sizes=tunnel_sizes(mtu_bytes=1320.0)
    )
    assert "translate addresses? Yes: 100.72.3.4 lies there." in text
    assert "At 1260 B inside the tunnel IPv6 does not pass (RFC 8200 section 5)." in text


def test_over_ipv6_a_filter_keeps_state_alike(link):
    text = shown(link, ip_version=6)
    assert text.startswith("Hello through the carrier's filter, UDP")
    assert "Over IPv6 nothing is translated" in text
