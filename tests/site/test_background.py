"""The default ledger of a site in bytes over 30 days."""

import pytest

from linkfit.forecast.keepalive import START_INTERVAL_S, TRANSPORTS, monthly_bytes
from linkfit.site.background import DEFAULT_KEEPALIVE_S, default_background
from linkfit.site.model import TUNNELS, PathLimits


def month_bytes(path):
    return {cause.name: 30 * cause.bytes_per_day for cause in default_background(path)}


@pytest.mark.parametrize(
    ("keepalive_s", "month_mb"), [(25.0, 6.2), (60.0, 2.6), (120.0, 1.3), (None, 6.2)]
)
def test_tunnel_keepalive(keepalive_s, month_mb):
    # arithmetic by hand: 60 B (IPv4 20, UDP 8, tunnel 32) one way, printed to 0.1 MB
    found = month_bytes(PathLimits(entry="relay", keepalive_s=keepalive_s))
    assert found["tunnel keepalive"] / 1e6 == pytest.approx(month_mb, abs=0.05)
    assert found["tunnel re-key"] == pytest.approx(8e6)


@pytest.mark.parametrize(("keepalive_s", "month_mb"), [(None, 20.7), (60.0, 10.4)])
def test_a_tunnel_of_tls_beats_both_ways(keepalive_s, month_mb):
    # arithmetic by hand: 4 packets of 60 B each 30 s are 691 kB a day; no keys of its own
    path = PathLimits(entry="relay", keepalive_s=keepalive_s, tunnel="tcp")
    found = month_bytes(path)
    assert found["tunnel keepalive"] / 1e6 == pytest.approx(month_mb, abs=0.05)
    assert "tunnel re-key" not in found
    beat = next(c for c in default_background(path) if c.name == "tunnel keepalive")
    assert beat.flow == "both"
    assert beat.source.startswith("common practice: a beat over TLS each ")


@pytest.mark.parametrize("transport", TUNNELS)
def test_the_ledger_has_the_figures_of_the_keepalive_forecast(transport):
    found = month_bytes(PathLimits(entry="relay", tunnel=transport))
    each_s = START_INTERVAL_S[transport]
    assert found["tunnel keepalive"] == pytest.approx(monthly_bytes(each_s, transport=transport))
    assert DEFAULT_KEEPALIVE_S == START_INTERVAL_S
    assert tuple(TUNNELS) == TRANSPORTS


def test_a_direct_path_has_no_tunnel_unless_it_says_hello():
    assert set(month_bytes(PathLimits())) == {"time sync", "name look-ups"}
    found = month_bytes(PathLimits(entry="direct", keepalive_s=60.0))
    assert set(found) == {"tunnel keepalive", "time sync", "name look-ups"}


def test_time_sync_and_name_lookups():
    # 4 servers x 152 B each 1024 s: 1.5 MB; 5000 look-ups x 300 B a day: 45 MB
    found = month_bytes(PathLimits())
    assert found["time sync"] / 1e6 == pytest.approx(1.5, abs=0.05)
    assert found["name look-ups"] == pytest.approx(45e6)


def test_only_what_leaves_keeps_the_mapping_and_all_name_a_source():
    causes = default_background(PathLimits(entry="relay"))
    assert {c.name: c.flow for c in causes}["tunnel keepalive"] == "out"
    assert all("arithmetic" in c.source or "common practice" in c.source for c in causes)


def test_nothing_is_switched_off_that_a_server_does_not_run_without():
    assert not any(c.optional for c in default_background(PathLimits(entry="relay")))
