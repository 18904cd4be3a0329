"""Header names to words and units: ``upload [Mbit/s]``, ``rtt_ms``, ``downlinkBps``."""

import re
from dataclasses import dataclass

from linkfit.errors import InputError

RATE_UNITS = {
    "bit/s": 1.0, "bps": 1.0, "b/s": 1.0, "kbit/s": 1e3, "kbps": 1e3, "Kbps": 1e3, "kb/s": 1e3,
    "Kbit/s": 1e3, "Mbit/s": 1e6, "Mbps": 1e6, "mbps": 1e6, "Mb/s": 1e6, "mbit/s": 1e6,
    "Gbit/s": 1e9, "Gbps": 1e9, "gbps": 1e9, "Gb/s": 1e9, "B/s": 8.0, "byte/s": 8.0,
    "bytes/s": 8.0, "kB/s": 8e3, "KB/s": 8e3, "MB/s": 8e6, "GB/s": 8e9, "KiB/s": 8.0 * 2**10,
    "MiB/s": 8.0 * 2**20, "Bps": 8.0, "kBps": 8e3, "KBps": 8e3, "MBps": 8e6,
}  # fmt: skip  # to bit/s
SIZE_UNITS = {
    "bit": 0.125, "bits": 0.125, "kbit": 125.0, "Mbit": 125e3, "Gbit": 125e6, "B": 1.0,
    "byte": 1.0, "bytes": 1.0, "kB": 1e3, "KB": 1e3, "MB": 1e6, "GB": 1e9, "KiB": 2.0**10,
    "MiB": 2.0**20, "GiB": 2.0**30,
}  # fmt: skip  # to bytes
TIME_UNITS = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "msec": 1e-3,
    "us": 1e-6, "µs": 1e-6, "usec": 1e-6, "ns": 1e-9, "min": 60.0, "h": 3600.0,
}  # fmt: skip  # to seconds
SHARE_UNITS = {
    "%": 0.01, "percent": 0.01, "pct": 0.01, "fraction": 1.0, "frac": 1.0, "ratio": 1.0,
}  # fmt: skip  # to fractions
UNITS = {"rate": RATE_UNITS, "size": SIZE_UNITS, "time": TIME_UNITS, "share": SHARE_UNITS}

_BRACKETS = re.compile(r"^(?P<words>.*?)\s*[\[(](?P<unit>[^\[\]()]+)[\])]\s*$")
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_SPLIT = re.compile(r"[^\w%/]+|_+")
# lower-case "kb" and "mb" say neither bits nor bytes, and no sizes end in a bare letter
_SUFFIXES = {
    unit for table in UNITS.values() for unit in table if "/" not in unit and unit not in ("h", "B")
}


def word_set(text: str) -> frozenset[str]:
    """The words of `text`, to look others up in."""
    return frozenset(text.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """One header name taken apart: its words in lower case and the unit it states, if any."""

    name: str
    words: tuple[str, ...]
    unit: str | None


def parse_header(name: str) -> Header:
    """Words and unit of a header name."""
    text, unit = name.strip().strip("\"'"), None
    match = _BRACKETS.match(text)
    if match:
        text, unit = match["words"], match["unit"].strip()
    parts = [part for part in _SPLIT.split(text) if part]
    if unit is None and len(parts) > 2 and "/".join(parts[-2:]) in RATE_UNITS:
        unit, parts = "/".join(parts[-2:]), parts[:-2]  # upload_mbit_s
    if unit is None and len(parts) > 1:
        last = parts[-1]
        known = last if last in _SUFFIXES or last in RATE_UNITS else last.lower()
        if known in _SUFFIXES or known in RATE_UNITS:
            unit, parts = known, parts[:-1]
    if unit is None and len(parts) == 1 and parts[0].lower() in ("bps", "kbps", "mbps", "gbps"):
        unit = parts[0] if parts[0] in RATE_UNITS else parts[0].lower()
    if unit is None and parts:
        camel = _CAMEL.sub(" ", parts[-1]).split()
        if len(camel) > 1 and (camel[-1].lower() in _SUFFIXES or camel[-1] in RATE_UNITS):
            unit = camel[-1] if camel[-1] in RATE_UNITS else camel[-1].lower()
            parts = [*parts[:-1], *camel[:-1]]
    words = tuple(w.lower() for part in parts for w in _CAMEL.sub(" ", part).split())
    return Header(name=name, words=words, unit=unit)


def unit_factor(unit: str, quantity: str, where: str) -> float:
    """What to multiply a number in `unit` with to get bit/s, bytes, s or a fraction.

    Raises
    ------
    InputError
        If `unit` is none of that quantity's.
    """
    table = UNITS[quantity]
    if unit in table:
        return table[unit]
    known = ", ".join(list(table)[:12])
    raise InputError(f"{where}: expected a unit of {quantity} such as {known}, got {unit!r}")
