"""How large the pieces of an upload should be: bounds from the path, from the clock, from breaks.

Rules of the trade: at most 0.9 of the path's body limit, at most half of what passes within the
timeout at the link's 5th percentile, at least 1 MB, since each request costs a round trip.
"""

import math
from dataclasses import dataclass

from linkfit._checks import non_negative, positive
from linkfit.units import BITS_PER_BYTE

BODY_FRAC = 0.9
TIMEOUT_FRAC = 0.5
LEAST_BYTES = 1e6
_OVERHEAD_FRAC = 0.05  # of the time may go to round trips
_NEGLIGIBLE_FRAC = 0.01  # a larger piece gains less than this
_PLENTY_BYTES = 10e6  # common practice: what clients send at most in one piece
_BREAK_FRAC = 0.1  # a piece takes at most this part of the mean time between breaks
_ROUND = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkAdvice:
    """Bytes of one request: any from `low_bytes` to `high_bytes`, best near `chunk_bytes`.

    `bound` says what sets the upper end: "body limit", "timeout", "breaks" or "item" (send it
    whole); `tight` that the upper end lies below what round trips ask for.
    """

    low_bytes: float
    high_bytes: float
    chunk_bytes: float
    bound: str
    tight: bool = False


def recommend_chunk_bytes(
    *,
    rate_bps: float,
    low_rate_bps: float,
    overhead_s: float,
    item_bytes: float = math.inf,
    body_limit_bytes: float | None = None,
    total_timeout_s: float | None = None,
    breaks_per_h: float = 0.0,
) -> ChunkAdvice:
    """Range of chunk sizes that the path carries and that waste little, and the best in it.

    Parameters
    ----------
    rate_bps, low_rate_bps : float
        Payload rate that one request gets: median, and 5th percentile. [bit/s]
    overhead_s : float
        Time in which a request sends nothing: a round trip, the server's own time. [s]
    item_bytes : float
        Payload of one item; no piece is larger. [bytes]
    body_limit_bytes, total_timeout_s : float, optional
        What the path carries in one request [bytes], and for how long: its total timeout, or
        its idle timeout where a relay may be silent until a request is whole. [s]
    breaks_per_h : float
        Breaks of a connection an hour. [1/h]

    Notes
    -----
    Between the bounds the best piece is that of `best_piece_s`, but none so large that round
    trips are below a hundredth of it anyway; rounded down to a plain number.
    """
    rate = positive("rate_bps", rate_bps) / BITS_PER_BYTE
    low_rate = positive("low_rate_bps", low_rate_bps) / BITS_PER_BYTE
    overhead_s = max(non_negative("overhead_s", overhead_s), 1e-3)
    breaks_per_s = non_negative("breaks_per_h", breaks_per_h) / 3600.0
    uppers = {"item": positive("item_bytes", item_bytes) if item_bytes != math.inf else math.inf}
    if body_limit_bytes is not None:
        uppers["body limit"] = BODY_FRAC * positive("body_limit_bytes", body_limit_bytes)
    if total_timeout_s is not None:
        passed = positive("total_timeout_s", total_timeout_s) * low_rate
        uppers["timeout"] = TIMEOUT_FRAC * passed
    if breaks_per_s:
        uppers["breaks"] = max(_BREAK_FRAC * rate / breaks_per_s, LEAST_BYTES)
    bound = min(uppers, key=lambda name: uppers[name])
    high = uppers[bound]
    wanted = max(LEAST_BYTES, overhead_s * rate / _OVERHEAD_FRAC)
    low = min(wanted, high)
    negligible = max(overhead_s * rate / _NEGLIGIBLE_FRAC, _PLENTY_BYTES)
    best = min(max(best_piece_s(overhead_s, breaks_per_s) * rate, low), negligible, high)
    return ChunkAdvice(
        low_bytes=low,
        high_bytes=high,
        chunk_bytes=best if bound == "item" and best == high else _plain(best, low),
        bound=bound,
        tight=wanted > high and bound != "item",
    )


def best_piece_s(overhead_s: float, breaks_per_s: float) -> float:
    """Sending time of the piece that loses least to its own overhead and to breaks. [s]

    Notes
    -----
    A piece of length T costs `overhead_s` each time and half of itself at each break, so the
    loss a second is o / T + L T / 2, least at T = sqrt(2 o / L); inf where nothing breaks.

    Source
    ------
    J. W. Young, "A first order approximation to the optimum checkpoint interval", Commun. ACM
    17(9), 530-531, 1974, doi:10.1145/361147.361115 (from memory).
    """
    overhead_s = positive("overhead_s", overhead_s)
    if non_negative("breaks_per_s", breaks_per_s) == 0:
        return math.inf
    return math.sqrt(2.0 * overhead_s / breaks_per_s)


def _plain(size_bytes: float, least_bytes: float) -> float:
    """The largest plain number of at most `size_bytes`, unless it falls below `least_bytes`."""
    power = 10.0 ** math.floor(math.log10(size_bytes))
    plain = power * max(step for step in _ROUND if step * power <= size_bytes * (1 + 1e-9))
    return plain if plain >= least_bytes else size_bytes
