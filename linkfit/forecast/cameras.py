"""Cameras: what a live feed sends by picture size and frame rate, and what a plan leaves it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from linkfit._checks import count, positive
from linkfit.forecast.demand import crossing
from linkfit.forecast.draws import Forecast
from linkfit.forecast.plan_use import usable_bytes
from linkfit.units import BITS_PER_BYTE, DAYS_PER_MONTH, SECONDS_PER_DAY

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.site.model import PathLimits
    from linkfit.site.plan import Plan

RATE_SIGMA = 0.3  # tables of makers and the scene differ by that much; common practice
H265_FACTOR = (0.5, 0.7)  # of the H.264 rate; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """A live picture of one camera, H.264. [bit/s of payload]"""

    picture: str
    frames_per_s: int
    rate_bps: float

    @property
    def name(self) -> str:
        """Picture size and frames, in words."""
        return f"{self.picture}, {self.frames_per_s} frames/s"


# common practice; scenes with much motion take more
FEEDS = tuple(
    Feed(picture=picture, frames_per_s=frames, rate_bps=rate)
    for picture, rates in (
        ("640x360", (500e3, 500e3, 1e6)),
        ("1280x720", (500e3, 1e6, 2e6)),
        ("1920x1080", (500e3, 1e6, 3e6)),
    )
    for frames, rate in zip((1, 5, 15), rates, strict=True)
)


def watching_time_s(
    rate_bps: float,
    plan: "Plan",
    path: "PathLimits",
    *,
    used: Forecast | None = None,
    rounded_bytes: "NDArray[np.float64] | float" = 0.0,
    open_frac: float = 1.0,
    rng: np.random.Generator,
    n_draws: int = 2000,
) -> Forecast | None:
    """Time a month that one feed can be sent before the plan is used up; None: no cap. [s]

    Parameters
    ----------
    rate_bps : float
        Payload of the feed. [bit/s]
    used : Forecast, optional
        What else is sent in a month in the directions that count. [bytes]
    rounded_bytes : array, shape (d,), or float
        What the plan rounds the sessions of a month up to. [bytes]
    open_frac : float
        Share of the time in which the server is up. [fraction]

    Notes
    -----
    The feed's rate is known to a factor exp(+-0.3), the same for the whole month. A plan that is
    used up each month has nothing to carry over.
    """
    if plan.cap_bytes is None:
        return None
    n = count("n_draws", n_draws) if used is None else used.draws.size
    factor = crossing(path, "out").factor(plan.counted)
    month_s = DAYS_PER_MONTH * SECONDS_PER_DAY * open_frac
    rates = positive("rate_bps", rate_bps) * np.exp(RATE_SIGMA * rng.standard_normal(n))
    left_bytes = usable_bytes(np.full(n, plan.cap_bytes), rounded_bytes)
    if used is not None:
        left_bytes = np.maximum(left_bytes - used.draws, 0.0)
    times_s = np.minimum(left_bytes * BITS_PER_BYTE / (rates * max(factor, 1e-12)), month_s)
    world = np.zeros(n, dtype=np.int32) if used is None else used.world
    return Forecast(draws=times_s, unit="s", world=world)
