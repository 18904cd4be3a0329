"""The largest rate limit for bulk data that keeps something interactive good, and its cost."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import fraction
from linkfit.forecast.queue_delay import (
    largest_added_queue_bits,
    largest_queue_bits,
    shares_in_time,
    warm_up_steps,
)
from linkfit.forecast.world_intervals import Estimate, over_worlds

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.forecast.activities import Activity
    from linkfit.forecast.latency_unknowns import LatencyUnknowns
    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

START_SHARE_FRAC = 0.85  # of the 10th percentile of the rate: common practice for a fixed limit
ADDED_TARGET_S = 0.1  # added delay that a limit should keep to; common practice
MOST_PEOPLE = 100  # in one call; nobody asks for more
_N_LIMITS = 36
_LEAST_LIMIT_FRAC = 0.005  # of the mean rate
_PACKET_BITS = 12e3


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLimit:
    """The largest limit that keeps `name` good with the wished chance.

    `limit` is 0 where nothing keeps it: it is good in `idle_share` of the moments while nothing
    else is sent; inf where bulk data without any limit leaves it good. [bit/s]
    `sync_share` is the mean rate of bulk data under the limit over that without. Intervals are
    over the worlds.
    """

    name: str
    good: str
    limit: Estimate
    idle_share: Estimate
    start_share: Estimate
    sync_share: Estimate

    @property
    def is_needed(self) -> bool:
        """Does bulk data without a limit spoil it?"""
        return not np.isinf(self.limit.value)


def start_limit_bps(paths: "CapacityPaths") -> float:
    """85 % of the rate that the link exceeds nine seconds in ten: common practice. [bit/s]"""
    return START_SHARE_FRAC * float(np.quantile(paths.rates_bps, 0.1))


def adaptive_limits_bps(paths: "CapacityPaths") -> tuple[float, float, float]:
    """Least, base and most of a limit that follows the link: common practice. [bit/s]

    The 5th percentile of the rate, 0.7 of its median, and the 95th percentile.
    """
    low, middle, high = np.quantile(paths.rates_bps, [0.05, 0.5, 0.95])
    return float(low), 0.7 * float(middle), float(high)


def activity_room_bits(
    paths: "CapacityPaths",
    unknowns: "LatencyUnknowns",
    activity: "Activity",
    link: "LinkModel",
    rng: np.random.Generator,
    *,
    relay_rtt_s: float = 0.0,
) -> "NDArray[np.float64]":
    """Largest queue before which a moment of `activity` is good, shape (d, t). [bits]"""
    shape = (paths.n_draws, paths.n_steps)
    rtts_s = link.draw_rtts_s(shape[0] * shape[1], rng).reshape(shape)
    rtts_s = rtts_s * unknowns.rtt_factor[:, None] + relay_rtt_s
    lost = rng.random(shape) < 1.0 - (1.0 - unknowns.loss_frac[:, None]) ** 2  # of two packets
    left_s = activity.within_s(unknowns)[:, None] - activity.base_s(rtts_s, lost)
    return largest_queue_bits(paths, left_s, activity.own_bits)


def largest_limit(
    paths: "CapacityPaths",
    unknowns: "LatencyUnknowns",
    room_bits: "NDArray[np.float64]",
    *,
    name: str,
    good: str,
    own_bps: float = 0.0,
    wanted_prob: float = 0.95,
) -> RateLimit:
    """Largest rate that bulk data may offer while the queue fits the room often enough.

    Parameters
    ----------
    room_bits : array, shape (d, t)
        Largest good queue at each moment, from `activity_room_bits`.
    own_bps : float
        What the activity itself sends. [bit/s]
    wanted_prob : float
        Share of the moments that must be good, all futures together, in (0, 1). [probability]

    Notes
    -----
    The queue grows with the rate on every path, so the share falls and the largest rate is
    unique. 36 rates are tried at once, log-spaced up to twice the fastest second in a hundred;
    between two of them the share is interpolated. The interval is where the ends of the share's
    own interval cross the wished chance.
    """
    fraction("wanted_prob", wanted_prob)
    limits = np.concatenate(([0.0], _limits_bps(paths), [np.inf]))
    start_bps = start_limit_bps(paths)
    offered = np.append(limits, start_bps) + own_bps
    shares = shares_in_time(paths, room_bits, offered, unknowns.queue_bits)

    found = [_mean_over_worlds(paths, share) for share in shares]
    limit = Estimate(
        value=crossing_bps(limits, np.array([one.value for one in found[:-1]]), wanted_prob),
        low=crossing_bps(limits, np.array([one.low for one in found[:-1]]), wanted_prob),
        high=crossing_bps(limits, np.array([one.high for one in found[:-1]]), wanted_prob),
    )
    carried = paths.rates_bps
    held = np.minimum(carried, max(limit.value, 1.0)).mean(axis=1)
    whole = carried.mean(axis=1)
    return RateLimit(
        name=name,
        good=good,
        limit=limit,
        idle_share=found[0],
        start_share=found[-1],
        sync_share=over_worlds(
            paths.world, lambda rows: float(held[rows].sum() / max(whole[rows].sum(), 1.0))
        ),
    )


def _mean_over_worlds(paths: "CapacityPaths", share_frac: "NDArray[np.float64]") -> Estimate:
    """Mean of a share a row, shape (d,), and its interval.

    Not shrunk: on a known process the shrunk interval held the true limit half as often.
    """
    return over_worlds(paths.world, lambda rows: float(share_frac[rows].mean()), shrink=False)


def added_delay_limit(
    paths: "CapacityPaths",
    unknowns: "LatencyUnknowns",
    *,
    bound_s: float = ADDED_TARGET_S,
    wanted_prob: float = 0.95,
) -> RateLimit:
    """Largest rate whose queue delays a full packet by at most `bound_s` more than none would."""
    room = largest_added_queue_bits(paths, bound_s, _PACKET_BITS)
    return largest_limit(
        paths, unknowns, room, name="added delay",
        good=f"at most {bound_s * 1e3:.0f} ms more", wanted_prob=wanted_prob,
    )  # fmt: skip


def _limits_bps(paths: "CapacityPaths") -> "NDArray[np.float64]":
    rates = paths.rates_bps[:, warm_up_steps(paths) :]
    top = max(2.0 * float(np.quantile(rates, 0.99)), 1.0)
    return np.geomspace(max(_LEAST_LIMIT_FRAC * paths.mean_rate_bps, 0.5), top, _N_LIMITS)


def crossing_bps(
    limits_bps: "NDArray[np.float64]", good_frac: "NDArray[np.float64]", wanted_prob: float
) -> float:
    """Largest limit good in `wanted_prob` of the moments; 0 where any is too much. [bit/s]"""
    falling = np.minimum.accumulate(good_frac)
    if falling[0] < wanted_prob:
        return 0.0
    if falling[-1] >= wanted_prob:
        return float("inf")
    last = int(np.flatnonzero(falling >= wanted_prob)[-1])
    if last == falling.size - 2:  # the last limit is infinite
        return float(limits_bps[last])
    part = (falling[last] - wanted_prob) / (falling[last] - falling[last + 1])
    return float(limits_bps[last] + part * (limits_bps[last + 1] - limits_bps[last]))


def largest_group(limit_bps: float, stream_bps: float) -> int:
    """Most people in one call that the server relays: N (N - 1) streams within `limit_bps`.

    1 where not even two people fit.
    """
    if np.isinf(limit_bps):
        return MOST_PEOPLE
    return int((1.0 + np.sqrt(1.0 + 4.0 * max(limit_bps, 0.0) / stream_bps)) / 2.0)
