"""Values of a TOML file as text: in a message (short and harmless), and as TOML again."""

from collections.abc import Iterable, Mapping
from datetime import date, time
from difflib import get_close_matches

MAX_SHOWN = 60


def shown(value: object) -> str:
    """`value` as a person wrote it; control characters escaped, long texts cut."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int) and abs(value) >= 10**15:
        return f"a number of {len(str(abs(value)))} digits"
    if isinstance(value, int | float):
        return f"{value:g}" if abs(value) < 1e6 else f"{value}"
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


def toml_string(text: str) -> str:
    """`text` as a TOML string: one line, everything that does not print escaped."""
    escaped = {'"': '\\"', "\\": "\\\\"}

    def one(character: str) -> str:
        if character in escaped:
            return escaped[character]
        if character.isprintable():
            return character
        code = ord(character)
        return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"

    return f'"{"".join(map(one, text))}"'


def as_toml(value: object) -> str:
    """An example value as one writes it in a site file."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {as_toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(as_toml, value)) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return toml_string(value) if isinstance(value, str) else f"{value}"
