"""What one line of ping output says, in any dialect and language, by its structure alone.

Words differ between systems and languages, numbers and signs do not: a reply has one
``=12.3 ms`` or ``<1ms`` (with a decimal comma in many languages) beside a sequence number
(Unix) or beside a TTL or behind an address and a colon (Windows).
"""

import math
import re
from dataclasses import dataclass
from datetime import datetime, tzinfo

_EPOCH = re.compile(r"\[(\d{9,11}(?:\.\d+)?)\]\s*")
_STAMP = re.compile(
    r"\[?(\d{4}-\d\d-\d\d)[ T](\d\d:\d\d:\d\d)(?:[.,](\d{1,6})\d*)?"
    r"\s?(Z|[+-]\d\d:?\d\d)?\]?(?:\s+|$)"
)
# "Start time: 1683989057023": a line that says when the run began, in s or ms since 1970
_LABELLED_EPOCH = re.compile(r"[^\d\[]{1,30}:\s*(\d{10})(\d{3})?\s*$")
_NUMBER = r"([=<])\s?(-?)(\d{1,9})(?:[.,](\d{1,9}))?\s?"
_TIME = re.compile(_NUMBER + r"(?:ms|мс|毫秒)(?!\w)", re.ASCII)
# the unit may be spoilt by a wrong code page: what stands before TTL= is the time
_TIME_BEFORE_TTL = re.compile(_NUMBER + r"\S{0,4}\s+TTL=\d+")
_SEQUENCE = re.compile(r"(?:\b|_)seq[ =:]\s?(\d{1,9})\b")
_TTL = re.compile(r"\b(?:ttl|hlim)\s?=\s?\d+", re.IGNORECASE)
_HEADER = re.compile(r"PING6?(?:\s.*\d.*bytes|\(\d+=|\s.*\(\d+\))|Ping\s.*\(\d[\d.]*\).*bytes")
_PEER = re.compile(r"PING6?\(.*-->\s*(\S+)|PING\s+([^\s(]*)\s?\(([^)\s]*)|\[([0-9A-Fa-f.:]+)\]")
_FROM_ZERO = re.compile(r"PING6\(|\): \d+ data bytes")
_RULE = re.compile(r"---.*---\s*$")
_PERCENT = re.compile(r"\d\s?%(?!\w)|[\s(]%\s?\d")
_COUNT = re.compile(r"(?<![+\d.,%])\d{1,9}(?![.,]?\d|\s?%)")
_ROUND_TRIPS = re.compile(r"=\s?[\d.,]+/([\d.,]+)/[\d.,]+(?:/([\d.,]+))?\s?ms")
_SPAN = re.compile(r"(\d{1,12})\s?ms\s*$")
_ADDRESS = (
    r"(?:\d{1,3}(?:\.\d{1,3}){3}"
    r"|(?:[0-9A-Fa-f]{1,4}(?::[0-9A-Fa-f]{1,4}){7}|[0-9A-Fa-f:]*::[0-9A-Fa-f:.]*)(?:%\w+)?)"
)
_ADDRESS_REPLY = re.compile(_ADDRESS + r"\s?:?.*[:：]\s")
_WINDOWS_HEADER = re.compile(
    rf"[Pp]ing.*\[{_ADDRESS}\].*\s\d+\s|(?:^|\s){_ADDRESS}.*\s\d+\s\D*[:：]\s*$"
)
_PROMPT = re.compile(r"[A-Za-z]:\\.*>|\^C|\$ ")
_LONGEST_LINE = 500  # ping prints far less; patterns are slow on lines of megabytes
_UNFINISHED = ("-", ":", "：")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line: its kind and the numbers that go with it.

    `kind` is "header", "reply", "answered" (a reply without a time), "unanswered" (a probe
    reported as lost), "rule" (``--- host ping statistics ---``), "counts", "round trips",
    "start" (a labelled time of day) or "other".
    `is_below` marks a ``<1ms``; `rtt_s` is negative where a clock step made it so.
    """

    kind: str
    text: str = ""
    time_s: float | None = None
    sequence: int | None = None
    rtt_s: float = 0.0
    is_below: bool = False
    is_windows: bool = False
    is_marked_duplicate: bool = False
    n_sent: int = 0
    n_received: int = 0
    span_s: float | None = None
    spread_s: float = 0.0
    peer: str = ""
    from_zero: bool = False


def read_line(line: str, zone: tzinfo) -> Line:
    """What `line` says; stamps without a zone are taken to be in `zone`."""
    time_s, text = _stamp(line[:_LONGEST_LINE].strip(), zone)
    return (
        _reply(text, time_s)
        or _header(text, time_s)
        or _sequence_only(text, time_s)
        or _summary(text)
        or _labelled_start(text)
        or Line(kind="other", text=text, time_s=time_s)
    )


def is_probe_line(line: Line) -> bool:
    """Whether an "other" line among Windows replies stands for a lost probe.

    Titles end with a colon; what else Windows prints between two replies is the fate of one
    probe ("Request timed out." in any language).
    """
    text = line.text.rstrip()
    return bool(text) and not text.endswith(_UNFINISHED) and not _PROMPT.match(text)


def _stamp(text: str, zone: tzinfo) -> tuple[float | None, str]:
    """The time at the start of a line, if there is one, and the rest."""
    if match := _EPOCH.match(text):
        return float(match[1]), text[match.end() :]
    match = _STAMP.match(text)
    if match is None:
        return None, text
    date, clock, fraction, offset = match.groups()
    try:
        when = datetime.fromisoformat(f"{date}T{clock}{(offset or '')}")
    except ValueError:  # the 31st of a month that has 30 days, 25 o'clock
        return None, text[match.end() :]
    if when.tzinfo is None:
        when = when.replace(tzinfo=zone)
    return when.timestamp() + float(f"0.{fraction or 0}"), text[match.end() :]


def _header(text: str, time_s: float | None) -> Line | None:
    is_unix = _HEADER.match(text) is not None
    if not is_unix and (not _WINDOWS_HEADER.search(text) or _TIME.search(text)):
        return None
    found = _PEER.search(text)
    peer = next((group for group in found.groups() if group), "") if found else ""
    if not peer and (address := re.search(_ADDRESS, text)):
        peer = address[0]
    return Line(
        kind="header", text=text, time_s=time_s, is_windows=not is_unix, peer=peer,
        from_zero=_FROM_ZERO.search(text) is not None,
    )  # fmt: skip


def _reply(text: str, time_s: float | None) -> Line | None:
    """A reply has exactly one time; a line with three is the summary of Windows."""
    if "=" not in text and "<" not in text:
        return None
    times = list(_TIME.finditer(text))
    if not times and (spoilt := _TIME_BEFORE_TTL.search(text)):
        times = [spoilt]
    if len(times) != 1:
        return None
    sequence = _SEQUENCE.search(text)
    is_windows = "seq" not in text and (
        _TTL.search(text) is not None or _ADDRESS_REPLY.search(text) is not None
    )
    if not (sequence or is_windows):
        return None
    sign, minus, whole, decimals = times[0].groups()
    decimals = decimals or ""
    rtt_ms = float(f"{whole}.{decimals}")
    is_below = sign == "<" or rtt_ms == 0
    if is_below:  # below the clock's step: half of what it is below
        rtt_ms = (rtt_ms or 10.0 ** -len(decimals)) / 2
    return Line(
        kind="reply", text=text, time_s=time_s, is_windows=is_windows, is_below=is_below,
        sequence=int(sequence[1]) if sequence else None,
        rtt_s=(-rtt_ms if minus else rtt_ms) / 1e3,
        is_marked_duplicate="DUP!" in text,
    )  # fmt: skip


def _sequence_only(text: str, time_s: float | None) -> Line | None:
    sequence = _SEQUENCE.search(text)
    if sequence is None:
        return None
    # "64 bytes from" came back, whatever of the rest is missing; reports start with a word
    kind = "answered" if _TTL.search(text) or text[0].isdigit() else "unanswered"
    return Line(kind=kind, text=text, time_s=time_s, sequence=int(sequence[1]))


def _summary(text: str) -> Line | None:
    if _RULE.match(text):
        return Line(kind="rule", text=text)
    if _PERCENT.search(text):
        counts = [int(number) for number in _COUNT.findall(text)]
        if len(counts) >= 2:
            span = _SPAN.search(text)
            return Line(
                kind="counts", text=text, n_sent=counts[0], n_received=counts[1],
                span_s=int(span[1]) / 1e3 if span else None, is_windows=text.count("=") >= 3,
            )  # fmt: skip
    trips = _ROUND_TRIPS.search(text)
    if trips:
        try:
            mean_s, spread_s = (float((t or "0").replace(",", ".")) / 1e3 for t in trips.groups())
        except ValueError:  # dots and commas that make no number
            return None
        if not math.isfinite(mean_s + spread_s):
            return None
        return Line(kind="round trips", text=text, rtt_s=mean_s, spread_s=spread_s)
    return None


def _labelled_start(text: str) -> Line | None:
    match = _LABELLED_EPOCH.match(text)
    if match is None:
        return None
    return Line(kind="start", text=text, time_s=int(match[1]) + int(match[2] or 0) / 1e3)
