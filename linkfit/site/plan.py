"""The data plan of a site: what it counts, and what happens when it is used up."""

from dataclasses import dataclass

from linkfit._checks import count, non_negative, one_of, positive
from linkfit.errors import InputError

COUNTED = ("both", "up", "down")
USUAL_SESSIONS_PER_DAY = 24.0  # common practice: a modem renews its session about hourly


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The data plan. `cap_bytes` None: unmetered. After the cap one of three: a throttle
    [bit/s], a stop (both None), or a price [money per GB].

    Parameters
    ----------
    tether_bytes : float or None
        Allowance of a plan for what others use through it (hotspot); everything here is that, so
        a larger `cap_bytes` is cut to it. [bytes]
    carry_over_bytes : float
        Most of its unused data that a cycle leaves to the next one. [bytes]
    round_up_bytes : float or None
        Each session is counted in whole multiples of this. [bytes]
    sessions_per_day : float
        Sessions that are rounded up, while the server is up all day. [1/day]
    """

    cap_bytes: float | None = None
    counted: str = "both"
    cycle_day: int = 1
    throttle_bps: float | None = None
    price_per_gb: float | None = None
    tether_bytes: float | None = None
    carry_over_bytes: float = 0.0
    round_up_bytes: float | None = None
    sessions_per_day: float = USUAL_SESSIONS_PER_DAY

    def __post_init__(self) -> None:
        for name in ("cap_bytes", "tether_bytes", "round_up_bytes"):
            if getattr(self, name) is not None:
                positive(name.removesuffix("_bytes"), getattr(self, name))
        one_of("counted", self.counted, COUNTED)
        if not 1 <= count("cycle_day", self.cycle_day) <= 31:
            raise InputError(f"cycle_day: expected 1 to 31, got {self.cycle_day}")
        if self.throttle_bps is not None and self.price_per_gb is not None:
            raise InputError("after_cap: expected a rate, 'stop' or a price, got two of them")
        non_negative("carry_over", self.carry_over_bytes)
        non_negative("sessions_per_day", self.sessions_per_day)
        if self.tether_bytes is not None:
            cap_bytes = min(self.cap_bytes or self.tether_bytes, self.tether_bytes)
            object.__setattr__(self, "cap_bytes", cap_bytes)

    @property
    def stops(self) -> bool:
        """Does nothing pass once the cap is used up?"""
        has_way_on = self.throttle_bps is not None or self.price_per_gb is not None
        return self.cap_bytes is not None and not has_way_on
