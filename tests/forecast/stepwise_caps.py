"""Sharing under caps by steps of the path: the slow, obvious oracle."""

import math
from typing import TYPE_CHECKING

import numpy as np

from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import NDArray


_WALK_STEPS = 16  # steps walked one by one before a block of them pays
_BLOCK_STEPS = 128


def water_level_bps(capacity_bps: float, caps_bps: list[float]) -> float:
    """Rate that every transfer gets unless its own cap is lower (max-min fair). [bit/s]

    `caps_bps` in rising order; inf if all caps together are below the capacity.

    Source
    ------
    D. Bertsekas and R. Gallager, "Data Networks", 2nd ed., 1992, section 6.5.2 (from memory).
    """
    left, n_left = capacity_bps, len(caps_bps)
    for cap in caps_bps:
        if cap * n_left >= left:
            return left / n_left
        left -= cap
        n_left -= 1
    return float("inf")


def capped_finish_s(
    paths: CapacityPaths,
    start_s: "NDArray[np.float64]",
    bits: "NDArray[np.float64]",
    draw: "NDArray[np.int64]",
    group: "NDArray[np.int64]",
    cap_bps: "NDArray[np.float64]",
) -> "NDArray[np.float64]":
    """Time on the path's clock at which each transfer has its last bit; inf for never. [s]

    Transfers of one group share; each gets at most its cap.
    """
    finish = np.empty(bits.shape)
    order = np.lexsort((start_s, group))
    cuts = np.flatnonzero(np.diff(group[order])) + 1
    rates = paths.rates_bps
    for members in np.split(order, cuts):
        if members.size:
            finish[members] = _one_group(
                rates[int(draw[members[0]])],
                paths.step_s,
                start_s[members].tolist(),
                bits[members].tolist(),
                cap_bps[members].tolist(),
            )
    return finish


def _one_group(
    rates_bps: "NDArray[np.float64]",
    step_s: float,
    starts_s: list[float],
    bits: list[float],
    caps_bps: list[float],
) -> list[float]:
    """Finish times of transfers sorted by start: from event to event (a start or an end)."""
    finish = [float("inf")] * len(starts_s)
    if not rates_bps.any():
        return finish
    present: list[list[float]] = []  # [cap, bits left, which], caps rising
    n_seen, now = 0, starts_s[0]
    while present or n_seen < len(starts_s):
        if not present:
            now = starts_s[n_seen]
        while n_seen < len(starts_s) and starts_s[n_seen] <= now:
            present.append([caps_bps[n_seen], bits[n_seen], float(n_seen)])
            n_seen += 1
        present.sort()
        next_start = starts_s[n_seen] if n_seen < len(starts_s) else float("inf")
        now, ended = _until_event(rates_bps, step_s, now, next_start, present)
        for flow in ended:
            finish[int(flow[2])] = now
            present.remove(flow)
    return finish


def _until_event(
    rates_bps: "NDArray[np.float64]",
    step_s: float,
    now_s: float,
    next_start_s: float,
    present: list[list[float]],
) -> tuple[float, list[list[float]]]:
    """Serve `present` until the first of them ends or the next starts; who ended."""
    caps = [flow[0] for flow in present]
    position, n_walked = int(now_s // step_s), 0
    while True:
        end_s = min((position + 1) * step_s, next_start_s)
        level = water_level_bps(rates_bps.item(position % rates_bps.size), caps)
        length = end_s - now_s
        first = (
            min((f[1] / min(f[0], level) for f in present), default=0.0) if level > 0 else length
        )
        if level > 0 and first <= length * (1 + 1e-12):
            ended = []
            for flow in present:
                rate = min(flow[0], level)
                if flow[1] / rate <= first * (1 + 1e-12):
                    ended.append(flow)
                flow[1] -= rate * first
            return now_s + first, ended
        for flow in present:
            flow[1] -= min(flow[0], level) * length
        now_s = end_s
        if now_s >= next_start_s:
            return now_s, []
        position += 1
        n_walked += 1
        if n_walked >= _WALK_STEPS:
            position = _skip(rates_bps, step_s, position, next_start_s, present)
            now_s = position * step_s


def _skip(
    rates_bps: "NDArray[np.float64]",
    step_s: float,
    position: int,
    next_start_s: float,
    present: list[list[float]],
) -> int:
    """Serve `present` over all whole steps before the next event in blocks; the step after."""
    caps = np.array([flow[0] for flow in present])
    left = np.array([flow[1] for flow in present])
    last = math.inf if math.isinf(next_start_s) else int(next_start_s / step_s)
    while position < last:
        n = int(min(_BLOCK_STEPS, last - position))
        rates = rates_bps[np.arange(position, position + n) % rates_bps.size]
        served = np.minimum(caps[:, None], water_levels_bps(rates, caps)) * step_s
        sums = np.cumsum(served, axis=1)
        n_whole = int((sums < left[:, None]).all(axis=0).sum())
        if n_whole:
            left -= sums[:, n_whole - 1]
        position += n_whole
        if n_whole < n:
            break
    for flow, bits in zip(present, left.tolist(), strict=True):
        flow[1] = bits
    return position


def water_levels_bps(
    capacity_bps: "NDArray[np.float64]", caps_bps: "NDArray[np.float64]"
) -> "NDArray[np.float64]":
    """`water_level_bps` for many capacities at once, shape of `capacity_bps`. [bit/s]"""
    level = np.full(capacity_bps.shape, np.inf)
    below = 0.0
    for index, cap in enumerate(caps_bps):
        n_left = caps_bps.size - index
        share = (capacity_bps - below) / n_left
        level = np.where((cap >= share) & np.isinf(level), share, level)
        below += cap
    return level
