"""Header and tunnel bytes against packet layouts and published shares."""

import pytest

from linkfit.errors import InputError
from linkfit.forecast.overhead import (
    ETHERNET_BYTES,
    goodput_share_frac,
    mss_bytes,
    tls_payload_bytes,
    udp_tunnel_overhead_bytes,
)


@pytest.mark.parametrize(
    ("header_bytes", "share_frac"),
    # RFC 6349 section 4.1.1: 1500 + 14 + 4 + 12 + 7 + 1 = 1538 bytes on the wire; the headers of
    # IPv4 and TCP are read there, IPv6 (40) and timestamps (12) are values from memory
    [(40, 0.94928), (52, 0.94148), (60, 0.93628), (72, 0.92848)],
)
def test_share_of_payload_on_ethernet(header_bytes, share_frac):
    share = goodput_share_frac(header_bytes=header_bytes, frame_bytes=ETHERNET_BYTES)
    assert share == pytest.approx(share_frac, abs=1e-5)


@pytest.mark.parametrize(
    ("rate_bps", "frame_bytes", "frames_per_s", "tcp_mbps"),
    [  # RFC 6349 section 4.1.1 and table 4.1.2, printed truncated: frames of 1500 bytes with what a
        # T3 (PPP 4, flags 2, CRC 2) or Ethernet adds, and the payload without 40 bytes of headers
        (44.21e6, 8, 3664, 42.8),
        (100e6, ETHERNET_BYTES, 8127, 94.9),
        (1e9, ETHERNET_BYTES, 81274, 949.2),
        (10e9, ETHERNET_BYTES, 812743, 9492.0),
    ],
)
def test_full_lines_of_rfc_6349(rate_bps, frame_bytes, frames_per_s, tcp_mbps):
    payload_bps = rate_bps * goodput_share_frac(header_bytes=40, frame_bytes=frame_bytes)
    assert int(payload_bps / (1460 * 8)) == frames_per_s
    assert payload_bps / 1e6 == pytest.approx(tcp_mbps, abs=1.0 if tcp_mbps > 9000 else 0.1)


@pytest.mark.parametrize(("ip_version", "overhead", "inner_mtu"), [(4, 60, 1440), (6, 80, 1420)])
def test_udp_tunnel_by_adding_up_its_headers(ip_version, overhead, inner_mtu):
    # outer IP 20 or 40, UDP 8, type 4, receiver index 4, counter 8, tag 16
    assert udp_tunnel_overhead_bytes(ip_version=ip_version) == overhead
    assert mss_bytes(header_bytes=0, tunnel_bytes=overhead) == inner_mtu


def test_tls_records_are_full_but_the_last():
    # 22 bytes a record of up to 2^14 bytes: RFC 8446 sections 5.1 and 5.2
    assert tls_payload_bytes(0) == 0
    assert tls_payload_bytes(1) == 23
    assert tls_payload_bytes(16384) == 16384 + 22
    assert tls_payload_bytes(16385) == 16385 + 44


def test_headers_that_leave_no_room_are_refused():
    with pytest.raises(InputError, match=r"mtu_bytes: expected room for 52 bytes.* got 50"):
        mss_bytes(mtu_bytes=50)


def test_an_unknown_ip_version_is_refused():
    with pytest.raises(InputError, match="ip_version: expected 4 or 6, got 5"):
        udp_tunnel_overhead_bytes(ip_version=5)
