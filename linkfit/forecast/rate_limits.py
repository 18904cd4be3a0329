"""The largest rate limit for bulk data that keeps something interactive good, and its cost."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import betaincinv

from linkfit._checks import fraction
from linkfit.forecast.draws import INTERVAL_LEVELS
from linkfit.forecast.queue_delay import (
    largest_added_queue_bits,
    largest_queue_bits,
    shares_in_time,
    warm_up_steps,
)
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.link.dependence import variance_of_averages

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.forecast.activities import Activity
    from linkfit.forecast.latency_unknowns import LatencyUnknowns
    from linkfit.link.futures import DirectionModel
    from linkfit.link.model import LinkModel
    from linkfit.link.paths import CapacityPaths

START_SHARE_FRAC = 0.85  # of the 10th percentile of the rate: common practice for a fixed limit
ADDED_TARGET_S = 0.1  # added delay that a limit should keep to; common practice
MOST_PEOPLE = 100  # in one call; nobody asks for more
_N_LIMITS = 36
_LEAST_LIMIT_FRAC = 0.005  # of the mean rate
_PACKET_BITS = 12e3
_LOOK_S = 10.0  # seconds taken as one look at the link where the record tells of no averages


@dataclass(frozen=True, slots=True, kw_only=True)
class RateLimit:
    """The largest limit that keeps `name` good with the wished chance.

    `limit` is 0 where nothing keeps it: it is good in `idle_share` of the moments while nothing
    else is sent; inf where bulk data without any limit leaves it good. [bit/s]
    `sync_share` is the mean rate of bulk data under the limit over that without. Intervals are
    over the worlds; that of the limit also holds what so few looks at the link leave open.
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


def independent_samples(model: "DirectionModel") -> float:
    """How many independent looks at a link's slow moments the record of `model` holds.

    Notes
    -----
    Whether a second is slower than the median varies by so much; its averages over W seconds
    vary less, by as many independent looks as W holds; the record holds them T / W times. The
    window that tells of fewest counts. inf for a rate that never changes.
    """
    rates_bps = model.runs.rates_bps
    windows = [window for window in model.dependence.windows_s if window > 1]
    if not windows or model.noise_sigma > 0:  # no second was measured by itself
        return max(float(rates_bps.size) / _LOOK_S, 1.0)
    slow = (rates_bps <= np.median(rates_bps)).astype(np.float64)
    own, *averages = variance_of_averages(slow, model.runs.first, (1, *windows))
    looks = [
        float(rates_bps.size) / window * float(own / variance)
        for window, variance in zip(windows, averages, strict=True)
        if variance > 0
    ]
    return max(min(looks, default=np.inf), 1.0)


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
    n_independent: float = np.inf,
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
    n_independent : float
        Looks at the link behind `paths`, from `independent_samples`; inf: `paths` are all of it.

    Notes
    -----
    The queue grows with the rate on every path, so the share falls and the largest rate is
    unique. 36 rates are tried at once, log-spaced up to twice the fastest second in a hundred;
    between two of them the share is interpolated.

    The interval has two parts, joined as independent errors of the logarithm: where the ends of
    the share's own interval over the worlds cross the wished chance; and where the share crosses
    the ends between which that quantile of so few independent looks may lie (order statistics: a
    beta law; of what is late while nothing is sent more looks would change nothing). Worlds weigh
    stretches of the record anew, but blocks that run over several stretches even the weights out,
    so that worlds alone are too alike in their worst moments: on eight processes of which all is
    known (records of 5 minutes to 2 hours, memories of 3 s to 5 minutes, with and without
    outages; 40 to 60 fits each) an interval of 90 % over worlds alone held the true limit in 50
    to 87 % of fits, both parts in 80 to 100 %.
    """
    fraction("wanted_prob", wanted_prob)
    limits = np.concatenate(([0.0], _limits_bps(paths), [np.inf]))
    start_bps = start_limit_bps(paths)
    offered = np.append(limits, start_bps) + own_bps
    shares = shares_in_time(paths, room_bits, offered, unknowns.queue_bits)

    found = [_mean_over_worlds(paths, share) for share in shares]
    limit = _limit(limits, found[:-1], wanted_prob, n_independent)
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


def _limit(
    limits_bps: "NDArray[np.float64]",
    shares: list[Estimate],
    wanted_prob: float,
    n_independent: float,
) -> Estimate:
    """Where the shares fall below the wished chance, and the interval of `largest_limit`."""
    middle, low, high = (
        np.array([getattr(one, which) for one in shares]) for which in ("value", "low", "high")
    )
    value = crossing_bps(limits_bps, middle, wanted_prob)
    lows = [crossing_bps(limits_bps, low, wanted_prob)]
    highs = [crossing_bps(limits_bps, high, wanted_prob)]
    kept_prob = wanted_prob / middle[0] if middle[0] else np.inf  # of what is good when idle
    if kept_prob < 1 and np.isfinite(n_independent):
        n_kept, n_late = n_independent * kept_prob, n_independent * (1.0 - kept_prob)
        least, most = middle[0] * betaincinv(n_kept, n_late, INTERVAL_LEVELS)
        lows.append(min(crossing_bps(limits_bps, middle, float(most)), value))
        highs.append(max(crossing_bps(limits_bps, middle, float(least)), value))
    return Estimate(value=value, low=_further(value, lows), high=_further(value, highs))


def _further(value_bps: float, ends_bps: list[float]) -> float:
    """One end of an interval from those of its independent parts: logarithms add as squares."""
    ends = np.array(ends_bps)
    if not (0 < value_bps < np.inf) or not (ends > 0).all() or not np.isfinite(ends).all():
        return float(ends.min() if ends.min() < value_bps else ends.max())
    away = np.log(ends / value_bps)
    return float(value_bps * np.exp(np.sign(away.sum()) * np.sqrt(away @ away)))


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
    n_independent: float = np.inf,
) -> RateLimit:
    """Largest rate whose queue delays a full packet by at most `bound_s` more than none would."""
    room = largest_added_queue_bits(paths, bound_s, _PACKET_BITS)
    return largest_limit(
        paths, unknowns, room, name="added delay",
        good=f"at most {bound_s * 1e3:.0f} ms more", wanted_prob=wanted_prob,
        n_independent=n_independent,
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
