"""The data plan of a site: what it counts, and what happens when it is used up."""

from dataclasses import dataclass

from linkfit._checks import count, one_of, positive
from linkfit.errors import InputError

COUNTED = ("both", "up", "down")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The data plan. `cap_bytes` None: unmetered. After the cap one of three: a throttle
    [bit/s], a stop (both None), or a price [money per GB].
    """

    cap_bytes: float | None = None
    counted: str = "both"
    cycle_day: int = 1
    throttle_bps: float | None = None
    price_per_gb: float | None = None

    def __post_init__(self) -> None:
        if self.cap_bytes is not None:
            positive("cap", self.cap_bytes)
        one_of("counted", self.counted, COUNTED)
        if not 1 <= count("cycle_day", self.cycle_day) <= 31:
            raise InputError(f"cycle_day: expected 1 to 31, got {self.cycle_day}")
        if self.throttle_bps is not None and self.price_per_gb is not None:
            raise InputError("after_cap: expected a rate, 'stop' or a price, got two of them")
