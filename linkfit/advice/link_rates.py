"""LinkRates: the few rates of a link that rules of thumb for settings start from."""

from dataclasses import dataclass, fields

import numpy as np

from linkfit._checks import non_negative
from linkfit.link.model import LinkModel

LEVELS = (0.05, 0.10, 0.50)
AVERAGE_S = 10.0  # a rate limit or a timeout does not feel what is shorter
_HORIZON_S = 600.0
_N_DRAWS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRates:
    """5, 10 and 50 % points of 10 s averages; 0 for a direction never measured. [bit/s]"""

    up_p05_bps: float
    up_p10_bps: float
    up_p50_bps: float
    down_p05_bps: float
    down_p10_bps: float
    down_p50_bps: float

    def __post_init__(self) -> None:
        for field in fields(self):
            non_negative(field.name, getattr(self, field.name))


def link_rates(link: LinkModel, seed: int = 0) -> LinkRates:
    """The link's rates, from its own futures."""
    found = {}
    for direction in ("up", "down"):
        rates = np.zeros(len(LEVELS))
        if getattr(link, direction) is not None:
            paths = link.paths(
                direction, horizon_s=_HORIZON_S, n_draws=_N_DRAWS, step_s=AVERAGE_S,
                rng=np.random.default_rng(seed),
            )  # fmt: skip
            rates = np.quantile(paths.rates_bps, LEVELS)
        for level, rate in zip(LEVELS, rates, strict=True):
            found[f"{direction}_p{level * 100:02.0f}_bps"] = float(rate)
    return LinkRates(**found)
