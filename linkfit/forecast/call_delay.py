"""The delay of a call as it is heard: loss counts as the delay that would sound as bad."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.forecast.activities import CODEC
from linkfit.forecast.voice import (
    DEVICES_DELAY_S,
    delay_impairment,
    loss_impairment,
    most_delay_s,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.forecast.latency_unknowns import LatencyUnknowns


def heard_delay_s(
    delay_s: "NDArray[np.float64]", unknowns: "LatencyUnknowns", target_s: float | None
) -> "NDArray[np.float64]":
    """One-way delays of a call, those that loss spoils raised above its target. [s]

    Parameters
    ----------
    delay_s : array, shape (n,)
        One way over the link and on. [s]
    unknowns : LatencyUnknowns
        Loss and burst ratio of each, shape (n,).
    target_s : float or None
        Longest good delay; None: the delays as they are. [s]

    Notes
    -----
    The E-model rates loss and delay on one scale, so a call with loss is as good as one without
    and a longer delay. Where that one exceeds the target (ITU-T G.114: 0.4 s, a rating of 59)
    it is what comes back; everywhere else the delay that a clock would show.
    """
    if target_s is None:
        return delay_s
    finite = np.where(np.isfinite(delay_s), delay_s, 0.0) + DEVICES_DELAY_S
    lost = loss_impairment(CODEC, unknowns.loss_frac, unknowns.burst_ratio) - CODEC.impairment
    as_bad_s = most_delay_s(delay_impairment(finite) + lost) - DEVICES_DELAY_S
    spoiled = np.isfinite(delay_s) & (as_bad_s > target_s)
    return np.where(spoiled, np.maximum(as_bad_s, delay_s), delay_s)
