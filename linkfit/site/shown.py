"""How a value of a TOML file is shown in a message: short, and harmless whatever it holds."""

from collections.abc import Iterable
from datetime import date, time
from difflib import get_close_matches

MAX_SHOWN = 60


def shown(value: object) -> str:
    """`value` as a person wrote it; control characters escaped, long texts cut."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}" if abs(value) < 1e15 else f"{float(min(value, 10**300)):g}"
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    text = repr(value)
    return text if len(text) <= MAX_SHOWN else f"{text[:MAX_SHOWN]}…"


def shown_key(key: object) -> str:
    """A key or file name in a place: plain if it is plain, else escaped."""
    text = str(key)
    if text.isprintable() and text.strip() and len(text) <= 200:
        return text
    return shown(text)


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """``"; did you mean 'x'?"`` if a known name is near, else ``""``."""
    names = {known_name.lower(): known_name for known_name in known}
    close = get_close_matches(name.lower(), names, n=1, cutoff=0.6)
    return f"; did you mean {names[close[0]]!r}?" if close else ""
