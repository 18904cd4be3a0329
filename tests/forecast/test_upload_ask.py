import pytest

from linkfit.errors import InputError
from linkfit.forecast.upload_ask import UploadAsk, site_limits
from linkfit.site.hours import DayWindow, Hours
from linkfit.site.model import PathLimits, Site

PATH = PathLimits(
    entry="relay", relay_rtt_s=0.018, tunnel_overhead_bytes=60.0, body_limit_bytes=1e8,
    idle_timeout_s=100.0, mtu_bytes=1420.0,
)  # fmt: skip


def test_payload_share_of_full_packets_in_a_tunnel_with_tls():
    bare = UploadAsk(size_bytes=1e6)
    assert bare.goodput_frac == pytest.approx(1448 / 1500 / (1 + 22 / 16384))
    tunnel = UploadAsk(size_bytes=1e6, tunnel_overhead_bytes=60.0, mtu_bytes=1420.0)
    assert tunnel.goodput_frac == pytest.approx(1308 / 1420 / (1 + 22 / 16384))
    assert (bare.direction, UploadAsk(size_bytes=1e6, flow="in").direction) == ("up", "down")


def test_the_relay_limits_what_comes_in():
    hours = Hours(windows=(DayWindow(start_h=6.5, end_h=22.0),))
    site = Site(name="Kestrel Ridge dig", path=PATH, hours=hours)
    limits = site_limits(site, "in")
    ask = UploadAsk(size_bytes=2e8, flow="in", **limits)
    assert not ask.carries(2e8)
    assert ask.carries(1e8)
    assert (ask.idle_timeout_s, ask.relay_rtt_s, ask.drops_per_day) == (100.0, 0.018, 1.0)
    assert UploadAsk(size_bytes=2e8, **site_limits(site, "out")).carries(2e8)


@pytest.mark.parametrize(
    ("windows", "closings"),
    [
        ((), 0),
        (((6.5, 22.0),), 1),
        (((20.0, 6.0),), 1),  # over midnight
        (((6.0, 10.0), (18.0, 22.0)), 2),
        (((0.0, 24.0),), 0),
    ],
)
def test_each_end_of_the_day_s_hours_breaks_once(windows, closings):
    hours = Hours(windows=tuple(DayWindow(start_h=a, end_h=b) for a, b in windows))
    limits = site_limits(Site(name="Kestrel Ridge dig", hours=hours), "out")
    assert limits["drops_per_day"] == closings


def test_a_direct_path_has_no_relay():
    limits = site_limits(Site(name="van", path=PathLimits(body_limit_bytes=1e8)), "in")
    assert "body_limit_bytes" not in limits
    assert "relay_rtt_s" not in limits
    assert limits["drops_per_day"] == 0.0
    assert limits["same_link_share_frac"] == 0.0
    shared = Site(name="van", path=PathLimits(same_link_share_frac=0.4))
    assert UploadAsk(size_bytes=1e6, **site_limits(shared, "in")).same_link_share_frac == 0.4


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"size_bytes": 0}, "size: expected a finite number > 0, got 0"),
        ({"flow": "both"}, "flow: expected 'out' or 'in', got 'both'"),
        ({"n_items": 0}, "items: expected a whole number >= 1, got 0"),
        ({"drops_per_day": -1}, "drops_per_day: expected a finite number >= 0, got -1"),
        ({"chunk_bytes": 0}, "chunk_bytes: expected a finite number > 0, got 0"),
        ({"same_link_share_frac": 2.0}, "same_link_share: expected a number from 0 to 1, got 2"),
        ({"idle_timeout_s": 0}, "idle_timeout: expected a finite number > 0, got 0"),
    ],
)
def test_bad_numbers_are_named(wrong, said):
    with pytest.raises(InputError, match=said):
        UploadAsk(**({"size_bytes": 1e6} | wrong))
