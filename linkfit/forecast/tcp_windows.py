"""Window-based congestion control, CUBIC and Reno, for many transfers at once.

State has shape (n, f): `n` transfers of `f` parallel flows, windows in packets.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

CUBIC_C = 0.4  # packets/s^3, RFC 9438 section 5
CUBIC_BETA = 0.7  # RFC 9438 section 4.6
CUBIC_ALPHA = 3.0 * (1.0 - CUBIC_BETA) / (1.0 + CUBIC_BETA)  # RFC 9438 section 4.3
RENO_BETA = 0.5  # RFC 5681 section 3.1
LEAST_WINDOW_PACKETS = 2.0
# Slow start ends early when delay grows (hybrid slow start, as common kernels do it; RFC 9406
# standardises a relative): after this many packets, by an eighth of the round trip within limits
_EARLY_EXIT_PACKETS = 16.0
_EARLY_EXIT_SAMPLES = 8.0
_EARLY_EXIT_DELAY_S = (0.004, 0.016)
_TRAIN_GAP_S = 0.001  # answers closer than this (every second packet, 2 ms) make a train
# growth a round while no loss was ever seen: common kernels add a packet per 20 answered
_UNKNOWN_CEILING_GROWTH = 0.05
_CUBIC_MOST_GROWTH = 0.5  # target at most 1.5 windows, RFC 9438 section 4.4


@dataclass(slots=True, kw_only=True)
class Round:
    """What happened to one window of each transfer; arrays (n,) unless said.

    `sent` (n, f): packets that the queue took; `before` (n, f): of them, answered before the
    first loss; `hurt` (n, f): the flow lost a packet; `early_wait_s`: least queue delay of the
    first packets; `gap_s`: mean time between packets as the link sent them; `limited`: all that
    there was to send went out.
    """

    start_s: "NDArray[np.float64]"
    next_s: "NDArray[np.float64]"
    rtt_s: "NDArray[np.float64]"
    early_wait_s: "NDArray[np.float64]"
    span_s: "NDArray[np.float64]"
    gap_s: "NDArray[np.float64]"
    sent: "NDArray[Any]"
    before: "NDArray[Any]"
    hurt: "NDArray[np.bool_]"
    limited: "NDArray[np.bool_]"


@dataclass(slots=True, kw_only=True)
class WindowControl:
    """Slow start, a cut at each loss, and growth after it: Reno, or CUBIC with `is_cubic`."""

    shape: tuple[int, int]
    is_cubic: bool
    first_packets: int
    most_packets: float
    window: "NDArray[Any]" = field(init=False)
    threshold: "NDArray[Any]" = field(init=False)
    ceiling: "NDArray[Any]" = field(init=False)  # W_max of RFC 9438; 0: no loss yet
    origin: "NDArray[Any]" = field(init=False)
    plateau_s: "NDArray[Any]" = field(init=False)  # K of RFC 9438
    epoch_s: "NDArray[Any]" = field(init=False)  # start of growth; NaN: not begun
    friendly: "NDArray[Any]" = field(init=False)  # W_est of RFC 9438
    recovering: "NDArray[Any]" = field(init=False)

    def __post_init__(self) -> None:
        first = min(float(self.first_packets), self.most_packets)
        self.window = np.full(self.shape, first)
        self.threshold = np.full(self.shape, np.inf)
        self.epoch_s = np.full(self.shape, np.nan)
        self.recovering = np.zeros(self.shape, dtype=np.bool_)
        for name in ("ceiling", "origin", "plateau_s", "friendly"):
            setattr(self, name, np.zeros(self.shape))

    _STATE = (
        "window", "threshold", "ceiling", "origin", "plateau_s", "epoch_s", "friendly",
        "recovering",
    )  # fmt: skip

    def take(self, keep: "NDArray[np.bool_]") -> None:
        """Forget the transfers that are over."""
        for name in self._STATE:
            setattr(self, name, getattr(self, name)[keep])

    def plan(
        self,
        start_s: "NDArray[np.float64]",
        _next_s: "NDArray[np.float64]",
        last_answer_s: "NDArray[np.float64]",
        left_packets: "NDArray[Any]",
    ) -> "tuple[NDArray[Any], NDArray[np.float64]]":
        """Packets of this round, (n, f), and when the last of them is sent, (n,).

        The window is whole packets; the answers of the round before clock them out.
        """
        send = np.minimum(np.floor(self.window + 1e-9), left_packets)
        share = send.sum(axis=1) / self.window.sum(axis=1)
        spread_s = np.maximum(last_answer_s - start_s, 0.0)
        return send, start_s + np.minimum(share, 1.0) * spread_s

    def restart(
        self, stalled: "NDArray[np.bool_]", collapsed: "NDArray[np.bool_]", least_packets: float
    ) -> None:
        """A flight was lost whole: the window is cut, or falls to its least where `collapsed`.

        From there slow start leads up to the cut window (RFC 5681 section 3.1, RFC 9002 section
        7.6.2).
        """
        rows = stalled[:, None]
        cut = np.maximum(np.floor(self.window * self._beta), LEAST_WINDOW_PACKETS)
        self.ceiling = np.where(rows, self.window, self.ceiling)
        self.threshold = np.where(rows, cut, self.threshold)
        after = np.where(collapsed[:, None], least_packets, cut)
        self.window = np.where(rows, after, self.window)
        self.epoch_s = np.where(rows, np.nan, self.epoch_s)

    def rest(
        self, idle_s: "NDArray[np.float64]", timeout_s: "NDArray[np.float64]", first_packets: int
    ) -> None:
        """Nothing was sent for `idle_s`: a window not lately tested is not to be trusted.

        It halves for each timeout that passed, down to the first window, and slow start leads
        back to three quarters of it.

        Source
        ------
        RFC 2861 section 2.1 (halving, threshold; as common kernels do it); RFC 5681 section 4.1,
        which restarts from the first window at once.
        """
        n_halvings = np.floor(np.maximum(idle_s, 0.0) / timeout_s)
        stale = (n_halvings >= 1)[:, None]
        if not stale.any():
            return
        least = np.minimum(self.window, float(first_packets))
        shrunk = np.maximum(self.window * 0.5 ** np.minimum(n_halvings, 64.0)[:, None], least)
        back = np.maximum(self.threshold, 0.75 * self.window)
        self.threshold = np.where(stale, back, self.threshold)
        self.window = np.where(stale, shrunk, self.window)
        self.epoch_s = np.where(stale, np.nan, self.epoch_s)

    @property
    def _beta(self) -> float:
        return CUBIC_BETA if self.is_cubic else RENO_BETA

    def learn(self, seen: Round) -> None:
        """The window of the next round, from what happened to this one."""
        slow = self.window < self.threshold
        # a window that is less than half used is not grown (RFC 7661; common kernels)
        used = (2.0 * seen.sent >= self.window) | ~seen.limited[:, None]
        doubled = self.window + np.where(used, seen.sent, 0.0)
        if self.is_cubic:
            leaves, doubled = self._leave_slow_start_early(seen, slow, doubled)
            self.threshold = np.where(leaves & ~seen.hurt, doubled, self.threshold)
        grown = np.where(slow, doubled, self._grown(seen, slow))
        # growth pauses for the round in which the loss is repaired (RFC 6675)
        grown = np.where(self.recovering, self.window, grown)
        at_loss = np.floor(np.where(slow, self.window + seen.before, self.window) + 1e-9)
        cut = np.maximum(np.floor(at_loss * self._beta), LEAST_WINDOW_PACKETS)
        if self.is_cubic:  # fast convergence, RFC 9438 section 4.7
            lowered = at_loss * (1.0 + CUBIC_BETA) / 2.0
            peak = np.where(at_loss < self.ceiling, lowered, at_loss)
            self.ceiling = np.where(seen.hurt, peak, self.ceiling)
        self.threshold = np.where(seen.hurt, cut, self.threshold)
        self.epoch_s = np.where(seen.hurt, np.nan, self.epoch_s)
        self.window = np.minimum(np.where(seen.hurt, cut, grown), self.most_packets)
        self.recovering = seen.hurt

    def _leave_slow_start_early(
        self, seen: Round, slow: "NDArray[np.bool_]", doubled: "NDArray[Any]"
    ) -> "tuple[NDArray[np.bool_], NDArray[Any]]":
        """Where queue delay or a long train of answers ends slow start, and at what window."""
        limit_s = np.clip(seen.rtt_s / 8.0, *_EARLY_EXIT_DELAY_S)
        late = seen.early_wait_s > limit_s
        half_s = seen.rtt_s / 2.0
        train = (seen.span_s >= half_s) & (seen.gap_s <= _TRAIN_GAP_S)
        until = np.where(late, _EARLY_EXIT_SAMPLES, half_s / np.maximum(seen.gap_s, 1e-9))
        leaves = slow & (self.window >= _EARLY_EXIT_PACKETS) & (late | train)[:, None]
        return leaves, np.where(
            leaves, self.window + np.minimum(seen.sent, until[:, None]), doubled
        )

    def _grown(self, seen: Round, slow: "NDArray[np.bool_]") -> "NDArray[Any]":
        """The window after one round without loss outside slow start."""
        if not self.is_cubic:
            return self.window + 1.0
        begins = np.isnan(self.epoch_s) & ~slow & ~seen.hurt & ~self.recovering
        room = np.maximum(self.ceiling - self.window, 0.0)
        self.epoch_s = np.where(begins, seen.next_s[:, None], self.epoch_s)
        self.origin = np.where(begins, np.maximum(self.ceiling, self.window), self.origin)
        self.plateau_s = np.where(begins, np.cbrt(room / CUBIC_C), self.plateau_s)
        self.friendly = np.where(begins, self.window, self.friendly)
        used = np.minimum(seen.sent / self.window, 1.0)
        self.friendly = self.friendly + CUBIC_ALPHA * used
        since_s = (seen.next_s + seen.rtt_s)[:, None] - self.epoch_s
        target = self.origin + CUBIC_C * (since_s - self.plateau_s) ** 3
        gain = np.clip(target - self.window, 0.0, _CUBIC_MOST_GROWTH * self.window)
        unknown = (self.ceiling == 0) & (gain < _UNKNOWN_CEILING_GROWTH * self.window)
        gain = np.where(unknown, _UNKNOWN_CEILING_GROWTH * self.window, gain)
        return np.maximum(self.window + gain * used, self.friendly)
