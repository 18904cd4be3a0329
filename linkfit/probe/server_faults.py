"""Why a server gave no figure, in words that say what to do."""

from linkfit.probe.iperf_test import TestOutcome

# a part of what libiperf says (its iperf_error.c), what it means, what to do; the first that fits
_MEANINGS = (
    (
        "refused",
        "nothing listens there (connection refused)",
        "start a server on that machine with iperf3 -s, or name its port as HOST:PORT",
    ),
    (
        "busy",
        "the server is busy with another test",
        "wait until that has ended and measure again",
    ),
    (
        "closed",
        "the server ended the connection in the middle of the test",
        "see whether iperf3 still runs there, and that it is an iperf3 server at all",
    ),
    (
        "timed out",
        "no answer to the attempt to connect",
        "let the port through the server's firewall, TCP and UDP",
    ),
    (
        "route",
        "no route leads there",
        "see whether the link is up and the address is right",
    ),
    (
        "unreachable",
        "no route leads there",
        "see whether the link is up and the address is right",
    ),
    (
        "message",
        "it does not speak iperf3",
        "see which program listens on that port; the server's is iperf3 -s",
    ),
)


def fault_of(outcome: TestOutcome) -> str:
    """What stood in the way of a test that gave no figure, and what to do about it."""
    if outcome.ended == "deadline":
        return (
            f"it took the connection and then said nothing for {outcome.took_s:.0f} s; see whether "
            "an iperf3 server runs there and is not stopped, and restart it"
        )
    said = outcome.error.lower()
    for part, meaning, advice in _MEANINGS:
        if part in said:
            return f"{meaning}; {advice} (iperf3 said: {outcome.error})"
    if outcome.error:
        return f"iperf3 said: {outcome.error}; see whether an iperf3 server runs there"
    return "the test was too short to hold a whole second; allow more time or a larger budget"
