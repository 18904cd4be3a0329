"""Loss of single probes: how often by chance, and how many in a row; outages told apart."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.ingest.trace import LatencySamples

CLOSE_S = 2.0  # a judgement: probes further apart tell nothing of loss that follows loss
OUTAGE_S = 1.5  # from first to last lost probe; at one probe a second: three in a row
ENOUGH_PAIRS = 30  # a judgement
_PRIOR_LOSSES = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LossBursts:
    """A Gilbert chain of two states: probes come back in the good one, are lost in the bad one.

    `worsen_prob` and `recover_prob` are its steps from good to bad and from bad to good, a probe.
    """

    worsen_prob: float
    recover_prob: float

    @property
    def loss_frac(self) -> float:
        """Share of probes lost in the long run: p / (p + r). [fraction]"""
        return self.worsen_prob / (self.worsen_prob + self.recover_prob)

    @property
    def mean_burst_probes(self) -> float:
        """Probes lost in a row, on average: 1 / r. [probes]"""
        return 1.0 / self.recover_prob


def fit_loss(samples: "LatencySamples") -> LossBursts | None:
    """The chain behind single probes sent closely after each other; None where they are too few.

    Notes
    -----
    Series are split at gaps and at outages, which the capacity holds already. The step out of
    the bad state is shrunk to that of independent loss, which counts as 4 losses.
    """
    single = samples.take(samples.n_probes == 1)
    order = np.lexsort((single.time_s, single.source))
    time_s, source = single.time_s[order], single.source[order]
    lost = single.n_lost[order] > 0
    close = (np.diff(source) == 0) & (np.diff(time_s) <= CLOSE_S)
    kept = ~_in_outage(time_s, lost, close)
    pairs = close & kept[:-1] & kept[1:]
    before, after = lost[:-1][pairs], lost[1:][pairs]
    if before.size < ENOUGH_PAIRS or before.all():
        return None
    worsen_prob = float((after & ~before).sum() / (~before).sum())
    alone_prob = 1.0 - float(before.mean())
    recovered = float((before & ~after).sum()) + _PRIOR_LOSSES * alone_prob
    return LossBursts(
        worsen_prob=worsen_prob, recover_prob=recovered / (float(before.sum()) + _PRIOR_LOSSES)
    )


def _in_outage(
    time_s: "NDArray[Any]", lost: "NDArray[Any]", close: "NDArray[Any]"
) -> "NDArray[np.bool_]":
    """Which probes belong to a stretch of lost ones longer than `OUTAGE_S`."""
    if not lost.any():
        return np.zeros(lost.size, dtype=np.bool_)
    follows = np.concatenate(([False], close & (np.diff(lost.astype(np.int8)) == 0)))
    first = np.flatnonzero(~follows)
    last = np.append(first[1:], lost.size) - 1
    long = lost[first] & (time_s[last] - time_s[first] > OUTAGE_S)
    return np.repeat(long, last - first + 1)
