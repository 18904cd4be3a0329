import pytest
from hypothesis import given
from hypothesis import strategies as st

from linkfit.errors import InputError
from linkfit.forecast.tunnel import CARRIER_TUNNEL_BYTES, safe_sizes, tunnel_sizes


@pytest.mark.parametrize(("ip_version", "inner"), [(4, 1440), (6, 1420)])
def test_what_an_encrypting_udp_tunnel_leaves_of_1500(ip_version, inner):
    # outer IP 20 or 40, UDP 8, type 4, index 4, counter 8, tag 16: layout as open sources have it
    sizes = tunnel_sizes(ip_version=ip_version)
    assert sizes.inner_mtu_bytes == inner
    assert sizes.inner_mss_bytes(4) == inner - 40
    assert sizes.inner_mss_bytes(6) == inner - 60


def test_a_carriers_own_tunnel_leaves_so_much():
    # 3GPP TS 29.281 section 5.1 as other texts quote it: 36 and 44 bytes
    assert [1500 - taken for taken in CARRIER_TUNNEL_BYTES] == [1464, 1456]


def test_what_passes_anywhere():
    sizes = safe_sizes(60.0)
    assert sizes.inner_mtu_bytes == 1280  # RFC 8200 section 5
    assert (sizes.inner_mss_bytes(4), sizes.inner_mss_bytes(6)) == (1240, 1220)
    assert sizes.carries_ipv6
    assert sizes.inner_mtu_bytes - 40 - 8 >= 1200  # room for QUIC (RFC 9000 section 14)


def test_a_small_link_cannot_carry_ipv6_inside():
    assert not tunnel_sizes(mtu_bytes=1328.0).carries_ipv6
    assert tunnel_sizes(mtu_bytes=1340.0).carries_ipv6


def test_shares_of_a_full_packet():
    sizes = tunnel_sizes(mtu_bytes=1420.0, overhead_bytes=60.0)
    assert sizes.overhead_frac == pytest.approx(60 / 1420)
    assert sizes.goodput_frac == pytest.approx((1420 - 60 - 52) / 1420)


@given(st.floats(700, 9000), st.floats(1, 100))
def test_parts_add_up(mtu, overhead):
    sizes = tunnel_sizes(mtu_bytes=mtu, overhead_bytes=overhead)
    assert sizes.goodput_frac + sizes.overhead_frac + 52 / mtu == pytest.approx(1.0)


def test_no_room_is_named():
    with pytest.raises(InputError, match="mtu: expected room for 576 bytes inside the tunnel's 60"):
        tunnel_sizes(mtu_bytes=600.0)
    with pytest.raises(InputError, match="ip_version: expected 4 or 6, got 5"):
        tunnel_sizes(ip_version=5)
