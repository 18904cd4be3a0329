import pytest

from linkfit.probe.iperf_test import TestOrder, TestOutcome
from linkfit.probe.server_faults import fault_of


def outcome(error="", ended="done"):
    order = TestOrder(host="camp.invalid")
    return TestOutcome(order=order, ended=ended, report="", error=error, took_s=30.4, by="libiperf")


@pytest.mark.parametrize(
    ("error", "says"),
    [  # texts of the errors as iperf3 3.12 gave them in the tests of measuring
        ("unable to connect to server: Connection refused", "start a server on that machine"),
        ("the server is busy running a test. try again later", "wait until"),
        ("control socket has closed unexpectedly", "see whether iperf3 still runs"),
        ("unable to connect to server: Connection timed out", "let the port through"),
        ("unable to connect to server: No route to host", "see whether the link is up"),
        ("unable to receive control message: x", "which program listens on that port"),
        ("something new", "iperf3 said: something new"),
        ("", "allow more time or a larger budget"),
    ],
)
def test_each_fault_says_what_to_do(error, says):
    assert says in fault_of(outcome(error))


def test_silence_says_for_how_long():
    assert "said nothing for 30 s" in fault_of(outcome(ended="deadline"))
