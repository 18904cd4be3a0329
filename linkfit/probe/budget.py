"""How many bytes measuring may cost, and how many it has cost."""

from dataclasses import dataclass

from linkfit._checks import non_negative, positive

WIRE_FACTOR = 1.10  # bytes on the wire over payload: headers, acknowledgements, some retransmits
_HANDSHAKE_BYTES = 20_000.0  # control connection, JSON exchange of parameters and results


@dataclass(slots=True, kw_only=True)
class Budget:
    """Bytes that may cross the link, both directions together, and those that have.

    The wire factor of 1.10 over payload is common practice (1.03 for TCP/IP alone, more where
    segments are sent again); what is spent is counted at the interface, not computed.
    """

    limit_bytes: float
    spent_bytes: float = 0.0

    def __post_init__(self) -> None:
        positive("budget", self.limit_bytes)
        non_negative("spent_bytes", self.spent_bytes)

    @property
    def left_bytes(self) -> float:
        """What may still be spent. [bytes]"""
        return max(self.limit_bytes - self.spent_bytes, 0.0)

    def spend(self, n_bytes: float) -> None:
        """Count `n_bytes` that crossed the link."""
        self.spent_bytes += non_negative("n_bytes", n_bytes)

    def payload_bytes(self) -> int:
        """Largest payload that one test may order without any chance to overspend. [bytes]"""
        return max(int((self.left_bytes - _HANDSHAKE_BYTES) / WIRE_FACTOR), 0)


def cost_bytes(rate_bps: float, duration_s: float) -> float:
    """What a test of one direction costs at a rate, headers included. [bytes]"""
    payload_bytes = non_negative("rate_bps", rate_bps) * non_negative("duration_s", duration_s) / 8
    return payload_bytes * WIRE_FACTOR + _HANDSHAKE_BYTES
