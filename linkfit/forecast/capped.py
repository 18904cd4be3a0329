"""Sharing when single transfers have caps: the water level, step by step of the path."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.link.paths import CapacityPaths

if TYPE_CHECKING:
    from numpy.typing import NDArray


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
        if not members.size:
            continue
        row = int(draw[members[0]])
        finish[members] = _one_group(
            rates[row].tolist(),
            paths.step_s,
            start_s[members].tolist(),
            bits[members].tolist(),
            cap_bps[members].tolist(),
        )
    return finish


def _one_group(
    rates: list[float], step_s: float, starts: list[float], bits: list[float], caps: list[float]
) -> list[float]:
    """Finish times of transfers sorted by start, walking over arrivals, departures and steps."""
    finish = [float("inf")] * len(starts)
    if not any(rates):
        return finish
    present: list[list[float]] = []  # [cap, bits left, index], rising caps
    n_steps, n_seen, now = len(rates), 0, starts[0]
    while present or n_seen < len(starts):
        if not present:
            now = max(now, starts[n_seen])
        while n_seen < len(starts) and starts[n_seen] <= now:
            present.append([caps[n_seen], bits[n_seen], n_seen])
            n_seen += 1
            present.sort()
        step = int(now / step_s + 1e-9)
        capacity = rates[step % n_steps]
        until = max((step + 1) * step_s, now)
        if n_seen < len(starts):
            until = min(until, starts[n_seen])
        level = water_level_bps(capacity, [flow[0] for flow in present])
        if level > 0:
            until = min(until, now + min(flow[1] / min(flow[0], level) for flow in present))
            for flow in present:
                flow[1] -= min(flow[0], level) * (until - now)
        now = until
        for flow in present:
            if flow[1] <= 1e-6:  # a millionth of a bit is rounding
                finish[int(flow[2])] = now
        present = [flow for flow in present if flow[1] > 1e-6]
    return finish
