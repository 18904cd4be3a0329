"""A chance counted from draws, and how uncertain it is because the link was measured little."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from linkfit.forecast.draws import INTERVAL_LEVELS

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Chance:
    """A chance with its 5 % and 95 % points over the worlds. [probability]"""

    prob: float
    low_prob: float
    high_prob: float


def chance_of(happened: "NDArray[Any]", world: "NDArray[np.int32]") -> Chance:
    """Share of draws in which something `happened` (bool, or a chance of it), shape (d,).

    Notes
    -----
    Shares of single worlds scatter by chance too; the scatter is shrunk towards their mean by
    what the number of draws explains (random effects by the method of moments), and a hundredth
    of its variance stays in doubt. The interval always holds the share itself.
    """
    values = np.asarray(happened, dtype=np.float64)
    prob = float(values.mean())
    worlds, index, counts = np.unique(world, return_inverse=True, return_counts=True)
    if worlds.size == 1:
        return Chance(prob=prob, low_prob=prob, high_prob=prob)
    means = np.bincount(index, weights=values) / counts
    inside = np.bincount(index, weights=(values - means[index]) ** 2) / np.maximum(counts - 1, 1)
    noise = float((inside / counts).mean())
    total = float(means.var(ddof=1))
    kept = np.sqrt(max(0.01, 1 - noise / total)) if total > 0 else 0.0
    low, high = np.quantile(prob + kept * (means - means.mean()), INTERVAL_LEVELS)
    return Chance(
        prob=prob,
        low_prob=float(np.clip(low, 0.0, prob)),
        high_prob=float(np.clip(high, prob, 1.0)),
    )
