"""Items of a backlog: their sum, what each costs besides its bytes, restarts, refusals."""

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtr, ndtri

from linkfit._checks import count, non_negative, positive
from linkfit.site.model import Backlog, PathLimits, SizeLaw
from linkfit.units import BITS_PER_BYTE, SECONDS_PER_HOUR, format_size

if TYPE_CHECKING:
    from numpy.typing import NDArray

_SIZE_LEVELS = (np.arange(40) + 0.5) / 40  # sizes at which restarts are averaged
_MOST_EXPONENT = 50.0  # e^50 tries: never
_REFUSED_ITEMS = 0.5  # an item or more is expected above the limit


def total_payload_bytes(
    size: SizeLaw, item_number: float, rng: np.random.Generator, n_draws: int
) -> "NDArray[np.float64]":
    """Sum of `item_number` lognormal sizes, as a lognormal of its mean and variance; shape (d,)."""
    sigma2 = math.log1p(math.expm1(math.log(size.spread) ** 2) / item_number)
    z = rng.standard_normal(n_draws)
    return item_number * size.mean_bytes * np.exp(math.sqrt(sigma2) * z - sigma2 / 2)


def items_per_s(
    payload_bps: "NDArray[np.float64]", item_bits: float, per_item_s: float, n_parallel: int
) -> "NDArray[np.float64]":
    """Items done a second by `n_parallel` lanes that share the link; shape of `payload_bps`.

    Parameters
    ----------
    payload_bps : array
        Payload rate of the link for all lanes together, >= 0. [bit/s]
    item_bits : float
        Mean payload of an item. [bits]
    per_item_s : float
        What each item costs besides, during which its lane sends nothing. [s]
    n_parallel : int
        Lanes. One lane: 1 / (transfer time + per_item_s).

    Notes
    -----
    Exact mean value analysis of a closed network: one shared server, one delay, n customers.

    Source
    ------
    M. Reiser and S. S. Lavenberg, "Mean-value analysis of closed multichain queuing networks",
    J. ACM 27(2), 313-322, 1980, doi:10.1145/322186.322195 (from memory).
    """
    count("n_parallel", n_parallel)
    think_s = non_negative("per_item_s", per_item_s)
    rate = np.asarray(payload_bps, float) / positive("item_bits", item_bits)
    if not think_s:
        return rate
    queue = np.zeros(rate.shape)
    through = queue
    for lanes in range(1, n_parallel + 1):
        # n / (R + Z) with R = (1 + queue) / rate, written so that a rate of 0 gives 0
        through = lanes * rate / (1 + queue + think_s * rate)
        queue = through * (1 + queue) / np.where(rate > 0, rate, 1.0)
    return through


def restart_factor(
    backlog: Backlog,
    payload_bps: "NDArray[np.float64]",
    per_item_s: float,
    breaks_per_h: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """How much longer a backlog takes because broken pieces start again; >= 1, shape (d,).

    Notes
    -----
    A piece that needs T and is broken at rate L takes ``(exp(L T) - 1) / L`` on average
    (renewal argument). A piece is a chunk, or an item sent whole; each of the parallel lanes
    has its part of the rate.
    """
    factor = np.ones(payload_bps.shape)
    if backlog.resumable or not (breaks_per_h > 0).any():
        return factor
    sigma = math.log(backlog.size.spread)
    sizes = backlog.size.median_bytes * np.exp(sigma * ndtri(_SIZE_LEVELS))
    pieces = sizes if backlog.chunk_bytes is None else np.minimum(sizes, backlog.chunk_bytes)
    lane_bps = np.maximum(payload_bps, 1e-9)[:, None] / backlog.n_parallel
    piece_s = pieces * BITS_PER_BYTE / lane_bps + per_item_s
    expected_breaks = np.minimum(breaks_per_h[:, None] / SECONDS_PER_HOUR * piece_s, _MOST_EXPONENT)
    with np.errstate(divide="ignore", invalid="ignore"):
        longer = np.where(expected_breaks > 0, np.expm1(expected_breaks) / expected_breaks, 1.0)
    weight = sizes / sizes.sum()
    return np.maximum(longer @ weight, 1.0)


def above_limit_frac(size: SizeLaw, limit_bytes: float) -> float:
    """Share of sizes above `limit_bytes`. [fraction]"""
    distance = math.log(limit_bytes / size.median_bytes)
    sigma = math.log(size.spread)
    return float(ndtr(-distance / sigma)) if sigma else float(distance < 0)


def refused_text(backlog: Backlog, path: PathLimits) -> str:
    """Why the path cannot carry some items at all; "" if it carries all.

    Notes
    -----
    A relay's body limit holds for what clients send in; what the server sends is no request.
    """
    limit = path.body_limit_bytes
    if limit is None or path.entry != "relay" or backlog.flow == "out":
        return ""
    if backlog.chunk_bytes is not None:
        if backlog.chunk_bytes <= limit:
            return ""
        return (
            f"its pieces of {format_size(backlog.chunk_bytes)} exceed the path's limit of "
            f"{format_size(limit)} for one request; send smaller ones"
        )
    n_above = backlog.n_items * above_limit_frac(backlog.size, limit)
    if n_above < _REFUSED_ITEMS:
        return ""
    return (
        f"about {max(1, round(n_above))} of {backlog.n_items} items exceed the path's limit of "
        f"{format_size(limit)} for one request; send them in pieces"
    )
