"""LinkRates: the few rates of a link that settings start from, and what uploads over it need."""

from dataclasses import dataclass, field, fields

import numpy as np

from linkfit._checks import non_negative
from linkfit.advice.upload_settings import LinkUploads, UploadSettings
from linkfit.link.model import LinkModel

LEVELS = (0.05, 0.10, 0.50)
AVERAGE_S = 10.0  # a rate limit or a timeout does not feel what is shorter
_HORIZON_S = 600.0
_N_DRAWS = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkRates:
    """5, 10 and 50 % points of 10 s averages; 0 for a direction never measured. [bit/s]

    `uploads` tells pieces and numbers at once; None: no such change is offered.
    """

    up_p05_bps: float
    up_p10_bps: float
    up_p50_bps: float
    down_p05_bps: float
    down_p10_bps: float
    down_p50_bps: float
    uploads: UploadSettings | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        for rate in fields(self):
            if rate.name != "uploads":
                non_negative(rate.name, getattr(self, rate.name))


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
    return LinkRates(**found, uploads=LinkUploads(link, seed))
