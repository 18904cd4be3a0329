"""Texts with units to SI numbers and back: the only module that knows prefixes.

Inside linkfit every rate is in bit/s, every size in bytes, every time in seconds. Decimal
prefixes are powers of 1000 and binary ones (Ki, Mi, Gi) powers of 1024 (IEC 80000-13).
"""

import math
import re

from linkfit._checks import show
from linkfit.errors import InputError

BITS_PER_BYTE = 8
SECONDS_PER_MINUTE = 60.0
SECONDS_PER_HOUR = 3600.0
SECONDS_PER_DAY = 86400.0
DAYS_PER_MONTH = 30.0

_DECIMAL = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}
_BINARY = {"Ki": 2.0**10, "Mi": 2.0**20, "Gi": 2.0**30, "Ti": 2.0**40}
_NUMBER = r"(?P<number>\d+(?:\.\d+)?(?:[eE][+-]?\d+)?)"
_RATE = re.compile(_NUMBER + r"\s*(?P<prefix>[kKMGT]?)(?:bit/s|bps)")
_SIZE = re.compile(_NUMBER + r"\s*(?P<prefix>[kKMGT]i?)?B(?:ytes?)?")
_DURATION = re.compile(
    _NUMBER + r"\s*(?P<unit>ns|us|µs|ms|s|min|m|h|hours?|d|days?|weeks?|w|seconds?|minutes?)"
)
_DURATION_S = {
    "s": 1.0, "second": 1.0, "seconds": 1.0,
    "m": 60.0, "min": 60.0, "minute": 60.0, "minutes": 60.0,
    "h": 3600.0, "hour": 3600.0, "hours": 3600.0,
    "d": 86400.0, "day": 86400.0, "days": 86400.0, "w": 604800.0, "week": 604800.0,
    "weeks": 604800.0,
}  # fmt: skip
_PER_SECOND = {"ms": 1e3, "us": 1e6, "µs": 1e6, "ns": 1e9}  # divided: 18 ms is 0.018 s exactly
_ENERGY = re.compile(_NUMBER + r"\s*(?P<prefix>k?)Wh")
_POWER = re.compile(_NUMBER + r"\s*(?P<prefix>[mk]?)W")


def parse_rate_bps(text: str, *, where: str = "rate") -> float:
    """Read a rate such as ``"20 Mbit/s"``. [bit/s]"""
    match = _RATE.fullmatch(text.strip())
    if match is None:
        raise InputError(
            f"{where}: expected a number and bit/s, kbit/s, Mbit/s or Gbit/s, got {text!r}; "
            "write bits, not bytes, for example '20 Mbit/s'"
        )
    return float(match["number"]) * _DECIMAL[match["prefix"]]


def parse_size_bytes(text: str, *, where: str = "size") -> float:
    """Read a size such as ``"3.5 MB"`` or ``"2 GiB"``. [bytes]"""
    match = _SIZE.fullmatch(text.strip())
    if match is None:
        raise InputError(
            f"{where}: expected a number and B, kB, MB, GB, TB or KiB, MiB, GiB, got {text!r}; "
            "write bytes, not bits, for example '3.5 MB'"
        )
    prefix = match["prefix"] or ""
    factor = _BINARY[prefix] if prefix in _BINARY else _DECIMAL.get(prefix)
    if factor is None:
        raise InputError(f"{where}: expected kB, MB, GB or KiB, MiB, GiB, got {text!r}; use 'KiB'")
    return float(match["number"]) * factor


def parse_duration_s(text: str, *, where: str = "duration") -> float:
    """Read a time span such as ``"55 ms"``, ``"15 min"`` or ``"6 h"``. [s]"""
    match = _DURATION.fullmatch(text.strip())
    if match is None:
        raise InputError(
            f"{where}: expected a number and ms, s, min, h or d, got {text!r}; for example '55 ms'"
        )
    number, unit = float(match["number"]), match["unit"]
    return number / _PER_SECOND[unit] if unit in _PER_SECOND else number * _DURATION_S[unit]


def parse_energy_wh(text: str, *, where: str = "energy") -> float:
    """Read an energy such as ``"640 Wh"``. [Wh]"""
    match = _ENERGY.fullmatch(text.strip())
    if match is None:
        raise InputError(f"{where}: expected a number and Wh or kWh, got {text!r}; write '640 Wh'")
    return float(match["number"]) * (1e3 if match["prefix"] else 1.0)


def parse_power_w(text: str, *, where: str = "power") -> float:
    """Read a power such as ``"13 W"``. [W]"""
    match = _POWER.fullmatch(text.strip())
    if match is None:
        raise InputError(f"{where}: expected a number and W, mW or kW, got {text!r}; write '13 W'")
    return float(match["number"]) * {"": 1.0, "m": 1e-3, "k": 1e3}[match["prefix"]]


def _significant(number: float, digits: int) -> str:
    """`number` with `digits` significant digits, in plain notation."""
    if number == 0:
        return "0"
    rounded = float(f"{number:.{digits - 1}e}")
    decimals = max(0, digits - 1 - math.floor(math.log10(abs(rounded))))
    return f"{rounded:.{decimals}f}"


def _scaled(number: float, steps: tuple[tuple[float, str], ...], digits: int) -> str:
    """`number` in the largest unit of `steps` (largest first) that leaves at least 1."""
    if not math.isfinite(number):
        return "never" if number > 0 else show(number)
    for factor, unit in steps:
        # 0.9995 of a step would print as 1000 of the next smaller one
        if abs(number) >= factor * (1 - 0.5 * 10.0**-digits):
            return f"{_significant(number / factor, digits)} {unit}"
    factor, unit = steps[-1]
    return f"{_significant(number / factor, digits)} {unit}"


def format_rate(rate_bps: float, digits: int = 3) -> str:
    """A rate as a person writes it, for example ``"5.80 Mbit/s"``."""
    steps = ((1e9, "Gbit/s"), (1e6, "Mbit/s"), (1e3, "kbit/s"), (1.0, "bit/s"))
    return _scaled(rate_bps, steps, digits)


def format_size(size_bytes: float, digits: int = 3) -> str:
    """A size as a person writes it, for example ``"3.50 MB"`` (decimal prefixes)."""
    steps = ((1e12, "TB"), (1e9, "GB"), (1e6, "MB"), (1e3, "kB"), (1.0, "B"))
    return _scaled(size_bytes, steps, digits)


def format_duration(duration_s: float, digits: int = 2) -> str:
    """A time span as a person writes it: ms, s, min, h or days; ``"never"`` for infinity."""
    if abs(duration_s) < 1 - 0.5 * 10.0**-digits:
        return f"{_significant(duration_s * 1e3, digits)} ms"
    steps = ((2 * 86400.0, "days"), (2 * 3600.0, "h"), (120.0, "min"), (1.0, "s"))
    for least, unit in steps:
        if math.isfinite(duration_s) and abs(duration_s) >= least:
            divisor = {"days": 86400.0, "h": 3600.0, "min": 60.0, "s": 1.0}[unit]
            return f"{_significant(duration_s / divisor, digits)} {unit}"
    return _scaled(duration_s, ((1.0, "s"),), digits)


def format_energy(energy_wh: float, digits: int = 2) -> str:
    """An energy as a person writes it, for example ``"54 Wh"``; ``"without end"`` for infinity."""
    return _scaled(energy_wh, ((1.0, "Wh"),), digits) if math.isfinite(energy_wh) else "without end"


def format_count(number: int, noun: str) -> str:
    """A count with its noun, "1 run" or "3 runs"; the plural takes an s."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def format_share(share_frac: float) -> str:
    """A fraction in percent; never 0 % or 100 % unless it is exactly that."""
    if 0 < share_frac <= 0.005:
        return "<1 %"
    if 0.995 <= share_frac < 1:
        return ">99 %"
    return f"{share_frac * 100:.0f} %"


def format_amount(value: float, unit: str) -> str:
    """`value` of a Forecast's unit as a person writes it; ``"never"`` for infinity."""
    if unit == "s":
        return format_duration(value)
    if unit == "days":
        return format_duration(value * SECONDS_PER_DAY)
    if unit == "bytes":
        return format_size(value)
    if unit == "bit/s":
        return format_rate(value)
    return f"{value:.3g} {unit}" if math.isfinite(value) else "never"
