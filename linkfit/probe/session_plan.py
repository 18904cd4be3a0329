"""What one session of tests shall do, and what that costs."""

from collections.abc import Iterator
from dataclasses import dataclass

from linkfit._checks import count, one_of, positive
from linkfit.errors import InputError
from linkfit.probe.iperf_test import DEFAULT_PORT, TestOrder

WAYS = ("both", "up", "down")
LEAST_PAYLOAD_BYTES = 250_000  # 1 s at 2 Mbit/s: less than that tells of slow start only
_LEAST_BUDGET_BYTES = 500_000.0  # round trips, a search for the path MTU and one such test


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionPlan:
    """What a session shall do.

    Parameters
    ----------
    host, port
        Of an iperf3 server that the user runs.
    budget_bytes : float
        What may cross the interface, both directions, everything counted. [bytes]
    ways : {"both", "up", "down"}
        Directions of the link to test.
    seconds : int
        Length of one test. [s]
    n_rounds : int
        How often each direction is tested.
    n_streams : tuple of int
        Parallel streams of the tests, one test for each number.
    udp_rate_bps : float or None
        Also one test of datagrams at this rate, for loss and jitter. [bit/s]
    probe_port : int or None
        Port for TCP round trips; None: by ping, or where that is not allowed by the server's
        own port while it is idle.
    interface : str or None
        Whose counters tell what was spent; None: the one that leads to the server.
    wan_address : str or None
        The address that the carrier gave the router, where the user knows it.
    nat_timer_s : float or None
        Up to which idle time to look whether a connection is kept; None: do not look. [s]
    """

    host: str
    port: int = DEFAULT_PORT
    budget_bytes: float
    ways: str = "both"
    seconds: int = 10
    n_rounds: int = 1
    n_streams: tuple[int, ...] = (1,)
    udp_rate_bps: float | None = None
    probe_port: int | None = None
    interface: str | None = None
    wan_address: str | None = None
    nat_timer_s: float | None = None

    def __post_init__(self) -> None:
        if positive("budget", self.budget_bytes) < _LEAST_BUDGET_BYTES:
            raise InputError(
                f"budget: expected at least {_LEAST_BUDGET_BYTES / 1e3:g} kB, enough for one short "
                f"test, got {self.budget_bytes:g} bytes; allow more"
            )
        one_of("ways", self.ways, WAYS)
        count("seconds", self.seconds)
        count("rounds", self.n_rounds)
        if not self.n_streams:
            raise InputError("streams: expected at least one number, got none")
        if self.udp_rate_bps is not None:
            positive("udp_rate", self.udp_rate_bps)
        if self.nat_timer_s is not None:
            positive("nat_timer_up_to", self.nat_timer_s)

    def orders(self) -> Iterator[TestOrder]:
        """Every test, up and down in turn so that each round sees the same link."""
        ups = [True, False] if self.ways == "both" else [self.ways == "up"]
        for number in range(self.n_rounds):
            for n_streams in self.n_streams:
                for is_up in ups:
                    yield self._order(is_up, n_streams, None)
            if self.udp_rate_bps is not None and number == 0:
                for is_up in ups:
                    yield self._order(is_up, 1, self.udp_rate_bps)

    def _order(self, is_up: bool, n_streams: int, udp_rate_bps: float | None) -> TestOrder:
        return TestOrder(
            host=self.host, port=self.port, is_up=is_up, duration_s=self.seconds,
            n_streams=n_streams, udp_rate_bps=udp_rate_bps,
        )  # fmt: skip
