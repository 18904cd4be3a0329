"""How many uploads at once: what lanes that share a link carry, and the smallest best number."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, non_negative, positive
from linkfit.forecast.items import items_per_s
from linkfit.units import BITS_PER_BYTE, format_duration, format_rate, format_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_LANES = 8
_ENOUGH_FRAC = 0.95  # of the best throughput: more lanes only delay the first file
# the curve of lanes against load, from idle to saturated
_LOADS = np.concatenate(([0.0], np.logspace(-5, 6, 1101)))


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneAdvice:
    """Uploads at once, `n_lanes`, and in one sentence why not fewer and not more."""

    n_lanes: int
    why: str


def lanes_rate_bps(
    payload_bps: "NDArray[np.float64]",
    *,
    piece_bits: float,
    overhead_s: "float | NDArray[np.float64]",
    n_lanes: int,
    lane_limit_bps: float | None = None,
) -> "NDArray[np.float64]":
    """Payload rate of `n_lanes` uploads at once, each waiting `overhead_s` at every piece.

    Parameters
    ----------
    payload_bps : array
        What the link carries for all of them, >= 0. [bit/s]
    piece_bits : float
        Payload between two waits of one lane. [bits]
    overhead_s : float or array
        Time of each piece in which its lane sends nothing; broadcasts. [s]
    lane_limit_bps : float, optional
        What one connection reaches at most. [bit/s]

    Notes
    -----
    The closed network of `items.items_per_s`, which depends on rate times overhead alone and is
    read from one curve; below what `n_lanes` reach that never meet on the link.
    """
    piece_bits = positive("piece_bits", piece_bits)
    overheads = np.asarray(overhead_s, dtype=np.float64)
    rates = np.asarray(payload_bps, dtype=np.float64)
    if lane_limit_bps is not None:
        rates = np.minimum(rates, n_lanes * positive("lane_limit_bps", lane_limit_bps))
        alone_bps = n_lanes * piece_bits / (piece_bits / lane_limit_bps + overheads)
        rates = np.minimum(rates, alone_bps) if overheads.max() else rates
    if not overheads.max():
        return rates
    if n_lanes == 1:  # sending and waiting take turns
        return rates / (1.0 + rates * overheads / piece_bits)
    curve = items_per_s(_LOADS, 1.0, 1.0, n_lanes)
    safe = np.maximum(overheads, 1e-9)
    loads = rates / piece_bits * safe
    found = np.interp(loads, _LOADS, curve) / safe * piece_bits
    return np.minimum(found, rates)


def best_parallel(
    *,
    item_bytes: float,
    rate_bps: float,
    overhead_s: float,
    low_rate_bps: float | None = None,
    chunk_bytes: float | None = None,
    total_timeout_s: float | None = None,
    lane_limit_bps: float | None = None,
    n_items: int = 1000,
    n_most: int = MOST_LANES,
) -> LaneAdvice:
    """The smallest number of uploads at once that reaches 95 % of what `n_most` reach.

    Parameters
    ----------
    item_bytes, chunk_bytes : float
        Payload of an item, and of one request (None: whole). [bytes]
    rate_bps, low_rate_bps : float
        Payload rate of the link: median, and 5th percentile for the timeout (None: no check).
        [bit/s]
    overhead_s : float
        Time of each request in which its lane sends nothing: round trips and per-item cost. [s]
    total_timeout_s : float, optional
        Longest time of one request: lanes times request must pass in it at `low_rate_bps`. [s]
    lane_limit_bps : float, optional
        What one connection reaches at most. [bit/s]
    """
    piece_bits = min(positive("item_bytes", item_bytes), chunk_bytes or item_bytes) * BITS_PER_BYTE
    non_negative("overhead_s", overhead_s)
    rate = np.array([positive("rate_bps", rate_bps)])
    n_most = min(count("n_most", n_most), count("n_items", n_items))
    reached_bps = [
        float(
            lanes_rate_bps(
                rate, piece_bits=piece_bits, overhead_s=overhead_s, n_lanes=n,
                lane_limit_bps=lane_limit_bps,
            )[0]
        )
        for n in range(1, n_most + 1)
    ]  # fmt: skip
    wanted = 1 + next(i for i, r in enumerate(reached_bps) if r >= _ENOUGH_FRAC * reached_bps[-1])
    allowed = n_most
    if total_timeout_s is not None and low_rate_bps is not None:
        in_time = positive("total_timeout_s", total_timeout_s) * low_rate_bps / piece_bits
        allowed = max(1, min(n_most, int(in_time)))
    n_lanes = min(wanted, allowed)
    return LaneAdvice(
        n_lanes=n_lanes, why=_why(n_lanes, wanted, reached_bps, rate_bps, total_timeout_s)
    )


def _why(
    n_lanes: int,
    n_wanted: int,
    reached_bps: list[float],
    rate_bps: float,
    total_timeout_s: float | None,
) -> str:
    """One sentence for the number chosen."""
    share = reached_bps[n_lanes - 1] / rate_bps
    if n_lanes < n_wanted and total_timeout_s is not None:
        return (
            f"{n_wanted} would carry more, but their requests would not end within "
            f"{format_duration(total_timeout_s)} at the link's 5th percentile"
        )
    if n_lanes == 1:
        return (
            f"one alone fills {format_share(share)} of the link; more would share it, and each "
            "would end later"
        )
    more = "more were not tried"
    if n_lanes < len(reached_bps):
        more = "more add less than 5 % and delay the first one"
    return (
        f"one alone reaches {format_rate(reached_bps[0])}, {n_lanes} together reach "
        f"{format_rate(reached_bps[n_lanes - 1])} of {format_rate(rate_bps)}; {more}"
    )
