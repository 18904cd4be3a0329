"""Many requests on one connection: what the sender has to send at each moment of a walk.

So many requests are under way at once; the next is asked for when the answer to one has arrived
and a gap has passed (the far end's work, a person's pause). While nothing is asked for, the
sender is idle, and after the time in which an answer would be missed its window shrinks.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Self

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_LANES = 128  # each costs a number a transfer
_DONE_PACKETS = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Requests:
    """How the payload of each transfer is asked for.

    Parameters
    ----------
    n_requests, n_parallel : int
        Equal parts of the payload, and how many of them are under way at once.
    gap_s : array, shape (n,)
        From the arrival of one answer to the next request on the same lane. [s]
    """

    n_requests: int
    n_parallel: int
    gap_s: "NDArray[np.float64]"

    @classmethod
    def bundled(cls, n_requests: int, n_parallel: int, gap_s: "NDArray[np.float64]") -> Self:
        """The same asking in at most `MOST_LANES` lanes: neighbours go together beyond that."""
        together = -(-n_parallel // MOST_LANES)
        return cls(
            n_requests=-(-n_requests // together), n_parallel=n_parallel // together, gap_s=gap_s
        )


@dataclass(slots=True, kw_only=True)
class Lanes:
    """Requests under way of each transfer; arrays (n,), `release_s` (n, lanes).

    A slot of `release_s` belongs to one lane: when its next request reaches the sender, inf while
    its last one is still being answered.
    """

    requests: Requests
    item_packets: "NDArray[Any]"
    gap_s: "NDArray[np.float64]"
    released: "NDArray[Any]" = field(init=False)
    delivered: "NDArray[Any]" = field(init=False)
    release_s: "NDArray[Any]" = field(init=False)

    def __post_init__(self) -> None:
        n, lanes = self.item_packets.size, min(self.requests.n_parallel, self.requests.n_requests)
        self.released = np.full(n, float(lanes))
        self.delivered = np.zeros(n)
        self.release_s = np.full((n, lanes), np.inf)

    _STATE = ("item_packets", "gap_s", "released", "delivered", "release_s")

    def take(self, keep: "NDArray[np.bool_]") -> None:
        """Forget the transfers that are over."""
        for name in self._STATE:
            setattr(self, name, getattr(self, name)[keep])

    def asked_packets(
        self,
        start_s: "NDArray[np.float64]",
        until_s: "NDArray[np.float64]",
        rtt_s: "NDArray[np.float64]",
    ) -> "tuple[NDArray[Any], NDArray[np.float64], NDArray[np.float64]]":
        """What may be sent in a round of acknowledgements from `start_s` to `until_s`.

        Packets (n,), and when the first and the last of them may leave (n,): later than
        `start_s` where the sender has to wait for the next request. What is asked for within a
        round trip of that leaves in the same round.
        """
        waits = self.released * self.item_packets - self.delivered <= _DONE_PACKETS
        next_s = self.release_s.min(axis=1)
        waits &= np.isfinite(next_s) & (next_s > start_s)
        start_s = np.where(waits, next_s, start_s)
        due = self.release_s <= np.where(waits, next_s + rtt_s, until_s)[:, None]
        last_s = np.where(due, self.release_s, -np.inf).max(axis=1)
        until_s = np.where(waits, np.maximum(last_s, start_s), until_s)
        self.release_s[due] = np.inf
        most = float(self.requests.n_requests)
        self.released = np.minimum(self.released + due.sum(axis=1), most)
        return self.released * self.item_packets - self.delivered, start_s, until_s

    def answered(
        self,
        packets: "NDArray[Any]",
        first_s: "NDArray[np.float64]",
        last_s: "NDArray[np.float64]",
    ) -> None:
        """`packets` more of each transfer were acknowledged, evenly from `first_s` to `last_s`."""
        before = np.floor((self.delivered + _DONE_PACKETS) / self.item_packets)
        lanes = self.release_s.shape[1]
        item = before[:, None] + np.arange(lanes)
        end = (item + 1.0) * self.item_packets[:, None]
        done = end <= (self.delivered + packets + _DONE_PACKETS)[:, None]
        part = (end - self.delivered[:, None]) / np.maximum(packets, _DONE_PACKETS)[:, None]
        span_s = np.maximum(last_s - first_s, 0.0)[:, None]
        free_s = first_s[:, None] + np.clip(part, 0.0, 1.0) * span_s + self.gap_s[:, None]
        row, column = np.nonzero(done)
        slot = (item[row, column] % lanes).astype(np.int64)
        self.release_s[row, slot] = free_s[row, column]
        self.delivered = self.delivered + packets
