import socket

import pytest

from linkfit.errors import InputError
from linkfit.probe.interface import (
    Counters,
    interface_towards,
    local_address,
    parse_counters,
    read_counters,
)

# laid out as proc(5) describes it; the numbers are invented
TEXT = """\
Inter-|   Receive                                                |  Transmit
 face |bytes    packets errs drop fifo frame compressed multicast|bytes    packets errs drop
    lo:    1200      12    0    0    0     0          0         0     1200      12    0    0
wwan0: 4294967297 90000    0    0    0     0          0         0 18446744073709551615 7 0 0
"""


def test_counters_of_every_interface():
    assert parse_counters(TEXT) == {
        "lo": Counters(received_bytes=1200, sent_bytes=1200),
        "wwan0": Counters(received_bytes=4294967297, sent_bytes=18446744073709551615),
    }


def test_an_interface_that_is_gone_is_named(tmp_path):
    file = tmp_path / "dev"
    file.write_text(TEXT)
    assert read_counters("wwan0", devices=file).received_bytes == 4294967297
    with pytest.raises(InputError, match="expected one of lo, wwan0, got 'eth9'"):
        read_counters("eth9", devices=file)


@pytest.mark.parametrize("text", ["", "\n\n", "lo: 1 2\n", "no colon here\n"])
def test_a_text_without_counters_holds_none(text):
    assert parse_counters(text) == {}


def test_the_loopback_leads_to_itself():
    assert local_address("127.0.0.1") == "127.0.0.1"
    assert interface_towards("127.0.0.1") == "lo"


def test_what_the_kernel_counts_grows_by_what_was_sent():
    before = read_counters("lo")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.sendto(bytes(30_000), receiver.getsockname())
        receiver.recv(40_000)
    assert read_counters("lo").sent_bytes - before.sent_bytes >= 30_028  # RFC 791, RFC 768 headers


def test_a_name_that_nobody_knows_is_named():
    with pytest.raises(InputError, match=r"got 'nobody.invalid'.*check its name"):  # RFC 6761
        local_address("nobody.invalid")
