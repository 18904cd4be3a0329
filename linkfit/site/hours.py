"""When the server is up: windows of the day, or what battery and panel allow."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from linkfit._checks import fraction, non_negative, positive
from linkfit.errors import InputError

MONTHS = 12


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
    """Battery and panel.

    Parameters
    ----------
    battery_wh : float
        Energy of the full battery. [Wh]
    load_w : float
        Mean draw while the server is up. [W]
    load_busy_w : float or None
        Draw while the link sends or receives at full rate; None: not known. [W]
    panel_w : float
        Rated power. [W]
    sun_hours : float
        Equivalent hours of full sun on a mean day of the year. [h]
    sun_hours_by_month : tuple of 12 floats, or ()
        The same for January to December; `sun_hours` is their mean then. [h]
    usable_frac : float
        Part of the battery that may be used.
    yield_frac : float
        Part of the panel's rated power that reaches the battery and the load.
    output_frac : float
        Part of what leaves the battery that reaches the load: converter or inverter.
    """

    battery_wh: float
    load_w: float
    load_busy_w: float | None = None
    panel_w: float = 0.0
    sun_hours: float = 0.0
    sun_hours_by_month: tuple[float, ...] = ()
    usable_frac: float = 0.85
    yield_frac: float = 0.6
    output_frac: float = 1.0

    def __post_init__(self) -> None:
        positive("load", self.load_w)
        for name in ("battery_wh", "panel_w", "sun_hours"):
            non_negative(name, getattr(self, name))
        for name in ("usable_frac", "yield_frac", "output_frac"):
            fraction(name, getattr(self, name))
        positive("output_frac", self.output_frac)
        if len(self.sun_hours_by_month) not in (0, MONTHS):
            n_given = len(self.sun_hours_by_month)
            raise InputError(f"sun_hours_by_month: expected 12 numbers or none, got {n_given}")
        for hours in self.sun_hours_by_month:
            non_negative("sun_hours_by_month", hours)
        if self.load_busy_w is not None and self.load_busy_w < self.load_w:
            raise InputError(
                f"load_busy: expected at least the load of {self.load_w:g} W, "
                f"got {self.load_busy_w:g} W"
            )

    def sun_hours_in(self, month: int | None) -> float:
        """Of a mean day of `month` (1 to 12), or of the year. [h]"""
        if month is None or not self.sun_hours_by_month:
            return self.sun_hours
        return self.sun_hours_by_month[month - 1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """When the server is up: fixed windows, or what battery and panel allow; else always."""

    windows: tuple[DayWindow, ...] = ()
    power: Power | None = None

    def on(self, first: date, n_days: int) -> "Hours":
        """The hours with the sun of `n_days` from `first` on, where it is known by month."""
        if self.power is None or not self.power.sun_hours_by_month:
            return self
        months = [(first + timedelta(days=day)).month for day in range(n_days)]
        sun = sum(self.power.sun_hours_in(month) for month in months) / n_days
        return replace(self, power=replace(self.power, sun_hours=sun, sun_hours_by_month=()))
