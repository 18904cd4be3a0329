import pytest

from linkfit.errors import InputError
from linkfit.probe.nat import seen_address, tell_translation


@pytest.mark.parametrize(
    ("own", "seen", "wan", "kind"),
    [
        ("100.72.3.4", "203.0.113.7", None, "carrier"),
        ("100.72.3.4", None, None, "carrier"),
        ("203.0.113.7", "203.0.113.7", None, "none"),
        ("192.168.8.2", "203.0.113.7", None, "private"),
        ("192.168.8.2", "8.8.8.8", "100.72.3.4", "carrier"),
        ("192.168.8.2", "8.8.8.8", "10.1.2.3", "carrier"),
        ("192.168.8.2", "8.8.8.8", "8.8.4.4", "carrier"),
        ("192.168.8.2", "8.8.8.8", "8.8.8.8", "router"),
        ("192.168.8.2", None, "8.8.8.8", "unknown"),
        ("192.168.8.2", None, "100.100.0.1", "carrier"),
        ("8.8.8.8", "8.8.4.4", None, "translated"),
        ("8.8.8.8", None, None, "unknown"),
        ("fd00:18::1", "2a00:1450::1", None, "private"),
        ("2a00:1450::1", "2a00:1450::1", None, "none"),
        ("::ffff:8.8.8.8", "8.8.8.8", None, "none"),
    ],
)
def test_the_class_told_by_two_or_three_addresses(own, seen, wan, kind):
    # RFC 6598 section 7, RFC 1918 section 3, RFC 4193 (values from memory)
    found = tell_translation(own, seen, wan)
    assert found.kind == kind
    assert "{" not in found.text


def test_what_tells_of_the_carrier_is_said():
    text = tell_translation("192.168.8.2", "8.8.8.8", "100.72.3.4").text
    assert "100.64.0.0/10" in text
    assert "hold a tunnel open" in text


@pytest.mark.parametrize(
    ("printed", "address"),
    [
        ("Accepted connection from 198.18.0.1, port 42850", "198.18.0.1"),
        ("x\nAccepted connection from ::ffff:198.18.0.1, port 1\n", "198.18.0.1"),
        ("Accepted connection from fd00:18::1, port 42850", "fd00:18::1"),
        ("Server listening on 5201", None),
        ("", None),
    ],
)
def test_the_address_that_a_server_printed(printed, address):
    assert seen_address(printed) == address


@pytest.mark.parametrize(
    ("own", "seen", "wan", "name"),
    [("me", None, None, "own_address"), ("8.8.8.8", "you", None, "seen_address"),
     ("8.8.8.8", None, "it", "--wan-address")],
)  # fmt: skip
def test_no_address_is_named(own, seen, wan, name):
    with pytest.raises(InputError, match=f"{name}: expected an IP address, got '(me|you|it)'"):
        tell_translation(own, seen, wan)
