import pytest

from linkfit.addresses import PRIVATE_SPACES, SHARED_SPACE, address_kind, is_translated
from linkfit.errors import InputError


def test_the_shared_space_has_so_many_addresses():
    assert SHARED_SPACE.num_addresses == 4_194_304  # RFC 6598, value from memory
    # the standard library calls it neither private nor global
    assert not SHARED_SPACE[0].is_private
    assert not SHARED_SPACE[0].is_global


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("100.64.0.0", "shared"), ("100.127.255.255", "shared"),
        ("100.63.255.255", "public"), ("100.128.0.0", "public"),
        ("10.0.0.1", "private"), ("172.16.0.1", "private"), ("172.31.255.255", "private"),
        ("172.32.0.1", "public"), ("192.168.8.100", "private"),
        ("127.0.0.1", "other"), ("169.254.1.1", "other"), ("0.0.0.0", "other"),
        ("fe80::1", "other"), ("fd00::1", "other"), ("2a00:1450::1", "public"),
    ],
)  # fmt: skip
def test_kinds_at_the_edges_of_each_space(text, kind):
    assert address_kind(text) == kind  # RFC 6598, RFC 1918 section 3, values from memory


def test_private_spaces_agree_with_the_standard_library():
    assert all(space.is_private for space in PRIVATE_SPACES)


@pytest.mark.parametrize(
    ("wan", "seen", "found"),
    [
        ("100.72.3.4", None, True),
        ("10.20.30.40", "8.8.4.4", True),
        ("8.8.8.8", "8.8.4.4", True),
        ("8.8.8.8", "8.8.8.8", False),
        ("8.8.8.8", None, None),
        ("127.0.0.1", None, None),
    ],
)
def test_what_two_addresses_tell_of_the_carrier(wan, seen, found):
    told, why = is_translated(wan, seen)
    assert told is found
    assert wan in why


def test_no_address_is_named():
    with pytest.raises(InputError, match=r"--wan-address: expected an IP address, got '100.72'"):
        is_translated("100.72")
    with pytest.raises(InputError, match="--seen-address: expected an IP address, got 'me'"):
        is_translated("8.8.8.8", "me")
