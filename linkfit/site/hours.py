"""When the server is up: windows of the day, or what battery and panel allow."""

from dataclasses import dataclass

from linkfit._checks import fraction, non_negative, positive
from linkfit.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class DayWindow:
    """From `start_h` to `end_h`, hours of the local day in [0, 24]; may wrap past midnight."""

    start_h: float
    end_h: float

    def __post_init__(self) -> None:
        for name in ("start_h", "end_h"):
            value = non_negative(name, getattr(self, name))
            if value > 24:
                raise InputError(f"{name}: expected an hour from 0 to 24, got {value:g}")
        if self.start_h == self.end_h:
            raise InputError(f"hours: expected a start apart from the end, got {self.start_h:g}")

    @property
    def length_h(self) -> float:
        """Length of the window. [h]"""
        return (self.end_h - self.start_h) % 24 or 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Power:
    """Battery and panel. sun_hours: equivalent full-sun hours a day; usable_frac of the battery."""

    battery_wh: float
    load_w: float
    panel_w: float = 0.0
    sun_hours: float = 0.0
    usable_frac: float = 0.85
    yield_frac: float = 0.6

    def __post_init__(self) -> None:
        positive("load", self.load_w)
        for name in ("battery_wh", "panel_w", "sun_hours"):
            non_negative(name, getattr(self, name))
        for name in ("usable_frac", "yield_frac"):
            fraction(name, getattr(self, name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """When the server is up: fixed windows, or what battery and panel allow; else always."""

    windows: tuple[DayWindow, ...] = ()
    power: Power | None = None
