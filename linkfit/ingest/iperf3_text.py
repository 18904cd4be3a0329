"""What iperf3 prints for people, read back: three digits are all it holds, JSON is better."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from email.utils import parsedate_to_datetime

from linkfit.ingest.iperf3_run import Interval, Note, Run, Totals, is_clock

# iperf3 counts bytes in binary steps (KBytes = 1024) and bits in decimal ones
_BYTES = {"": 1.0, "K": 2.0**10, "M": 2.0**20, "G": 2.0**30, "T": 2.0**40}
_BITS = {"": 1.0, "K": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}
_NUMBER = r"\d{1,9}(?:\.\d{1,9})?"
_ROW = re.compile(
    r"\[\s*(?P<id>\d{1,6}|SUM)\](?:\[(?P<role>[TR]X-[CS])\])?\s+"
    rf"(?P<start>{_NUMBER})-(?P<end>{_NUMBER})\s+sec\s+"
    rf"(?P<size>{_NUMBER})\s(?P<size_unit>[KMGT]?)Bytes\s+"
    rf"(?P<rate>{_NUMBER})\s(?P<rate_unit>[KMGT]?)(?P<rate_kind>bits|Bytes)/sec(?P<rest>.*)"
)
_DATAGRAMS = re.compile(r"(?P<jitter>\d{1,9}\.\d+) ms\s+(?P<lost>-?\d{1,12})/(?P<all>\d{1,12}) \(")
_SENT_DATAGRAMS = re.compile(r"\s*(?P<all>\d{1,12})\s*(?:\(omitted\))?\s*$")
_CLIENT = re.compile(r"Connecting to host (?P<host>.+), port \d+")
_SERVER = re.compile(r"Accepted connection from (?P<host>.+), port \d+")
_REVERSE = re.compile(r"Reverse mode, remote host .* is sending")
_TIME = re.compile(r"Time: (?P<time>\w{3}, \d.*)$")
_TARGET = re.compile(r"Target Bitrate: (?P<rate>\d{1,15})")
_TEST = re.compile(
    r"Starting Test: protocol: (?P<protocol>\w+), \d+ streams, (?P<block>\d{1,12}) byte"
)
_LONGEST_LINE = 500  # iperf3 prints far less; patterns are slow on lines of megabytes
_COLUMNS = re.compile(r"\[ ID\].*Interval")
_ERROR = re.compile(r"iperf3: (?:error|interrupt) - (?P<text>.*)")


@dataclass(slots=True)
class _Group:
    """The rows of one stretch of time in one role: streams, and their sum where printed."""

    start_s: float
    duration_s: float
    is_omitted: bool
    streams: dict[str, "re.Match[str]"] = field(default_factory=dict)
    total: "re.Match[str] | None" = None


@dataclass(slots=True)
class _Draft:
    """A test under construction."""

    is_server: bool = False
    peer: str = ""
    is_reverse: bool = False
    is_udp: bool | None = None
    is_sender: bool | None = None
    started_s: float | None = None
    target_bps: float | None = None
    block_bytes: float = 0.0
    error: str = ""
    groups: dict[str, list[_Group]] = field(default_factory=dict)
    ends: list["re.Match[str]"] = field(default_factory=list)
    n_repeats: int = 0


def looks_like_text(head: str) -> bool:
    """Whether a line is one that iperf3 prints."""
    lines = (line[:_LONGEST_LINE] for line in head.splitlines())
    return any(_ROW.search(x) or _ERROR.search(x) or _CLIENT.search(x) for x in lines)


def read_runs(lines: Iterable[str]) -> list[Run]:
    """Every test in the printed `lines`."""
    drafts: list[_Draft] = []
    started_s: float | None = None
    for line in (line[:_LONGEST_LINE] for line in lines):
        if time := _TIME.search(line):
            started_s = _epoch_s(time["time"])
            if drafts and drafts[-1].is_server and not drafts[-1].groups:
                drafts[-1].started_s = started_s
            continue
        opening = _CLIENT.search(line) or _SERVER.search(line)
        if opening or not drafts:
            drafts.append(_Draft(started_s=started_s))
        if opening:
            drafts[-1].peer = opening["host"]
            drafts[-1].is_server = opening.re is _SERVER
        _take(drafts[-1], line)
    return [_run(draft) for draft in drafts if draft.groups or draft.error]


def _epoch_s(text: str) -> float | None:
    try:
        time_s = parsedate_to_datetime(text.replace("UTC", "GMT")).timestamp()
    except (ValueError, OverflowError):
        return None
    return time_s if is_clock(time_s) else None


def _take(draft: _Draft, line: str) -> None:
    if row := _ROW.search(line):
        _take_row(draft, row)
    elif _COLUMNS.search(line) and not draft.groups:
        draft.is_udp = "Datagrams" in line
        draft.is_sender = "Retr" in line or ("Total Datagrams" in line and "Lost" not in line)
    elif _REVERSE.search(line):
        draft.is_reverse = True
    elif target := _TARGET.search(line):
        draft.target_bps = float(target["rate"])
    elif test := _TEST.search(line):
        draft.is_udp = test["protocol"].upper() == "UDP"
        draft.block_bytes = float(test["block"])
    elif error := _ERROR.search(line):
        draft.error = draft.error or error["text"].strip()


def _take_row(draft: _Draft, row: "re.Match[str]") -> None:
    """Into the interval it belongs to; rows over the whole test are totals."""
    role, start_s, end_s = row["role"] or "", float(row["start"]), float(row["end"])
    groups = draft.groups.setdefault(role, [])
    is_omitted = "(omitted)" in row["rest"]
    is_end = row["rest"].rstrip().endswith(("sender", "receiver"))
    if not is_end and start_s == 0 and not is_omitted:
        # old versions do not name the totals: they start at 0 again and are longer
        is_end = any(
            row["id"] in g.streams and g.start_s == 0 and not g.is_omitted
            and end_s > 1.5 * g.duration_s for g in groups[:-1]
        )  # fmt: skip
    if is_end:
        draft.ends.append(row)
        return
    group = groups[-1] if groups else None
    same = group is not None and (group.start_s, group.is_omitted) == (start_s, is_omitted)
    if group is None or not same:
        group = _Group(start_s, _duration_s(row), is_omitted)
        groups.append(group)
    if row["id"] == "SUM":
        group.total = row
    elif row["id"] in group.streams:
        draft.n_repeats += 1
    else:
        group.streams[row["id"]] = row


def _duration_s(row: "re.Match[str]") -> float:
    """End less start; where two decimals make that 0, what bytes and rate say."""
    duration_s = float(row["end"]) - float(row["start"])
    if duration_s > 0:
        return duration_s
    scale = _BITS[row["rate_unit"]] if row["rate_kind"] == "bits" else 8 * _BYTES[row["rate_unit"]]
    rate_bps = float(row["rate"]) * scale
    return _size_bytes(row) * 8 / rate_bps if rate_bps > 0 else 0.0


def _size_bytes(row: "re.Match[str]") -> float:
    return float(row["size"]) * _BYTES[row["size_unit"]]


def _run(draft: _Draft) -> Run:
    intervals = [
        interval
        for role, groups in draft.groups.items()
        for group in groups
        if (interval := _interval(draft, role, group)) is not None
    ]
    repairs = []
    if draft.n_repeats:
        text = "some versions repeat the last one; it counts once"
        repairs.append(Note("interval printed twice", draft.n_repeats, text))
    findings = []
    if intervals:
        text = "figures printed for people have three digits; iperf3 -J has them all"
        findings.append(Note("rounded figures", len(intervals), text))
    return Run(
        format="iperf3 text",
        transport="udp" if draft.is_udp else "tcp",
        is_server=draft.is_server,
        peer=draft.peer,
        started_s=draft.started_s,
        target_bps=draft.target_bps,
        block_bytes=draft.block_bytes,
        intervals=tuple(intervals),
        totals=_totals(draft),
        error=draft.error,
        repairs=tuple(repairs),
        findings=tuple(findings),
    )


def _is_sender(draft: _Draft, role: str) -> bool:
    """Whether the printing end sends: told by the role, the mode or the columns."""
    if role:
        return role.startswith("TX")
    if draft.is_server:
        return bool(draft.is_sender)
    return not draft.is_reverse


def _interval(draft: _Draft, role: str, group: _Group) -> Interval | None:
    rows = [group.total] if group.total else list(group.streams.values())
    if not rows or not (group.duration_s > 0 and math.isfinite(group.duration_s)):
        return None
    is_sender = _is_sender(draft, role)
    datagrams = [_datagrams(row) for row in rows]
    return Interval(
        start_s=group.start_s,
        duration_s=group.duration_s,
        n_bytes=sum(_size_bytes(row) for row in rows),
        is_up=is_sender != draft.is_server,
        is_sender=is_sender,
        is_omitted=group.is_omitted,
        n_streams=max(len(group.streams), 1),
        n_datagrams=sum(n_all for n_all, _, _ in datagrams) if draft.is_udp else 0,
        n_lost=sum(n_lost for _, n_lost, _ in datagrams) if draft.is_udp else 0,
    )


def _datagrams(row: "re.Match[str]") -> tuple[int, int, float]:
    """Datagrams in all, those lost, and jitter [s]; 0 where the row does not say."""
    if found := _DATAGRAMS.search(row["rest"]):
        return int(found["all"]), max(int(found["lost"]), 0), float(found["jitter"]) * 1e-3
    sent = _SENT_DATAGRAMS.match(row["rest"])
    return (int(sent["all"]) if sent else 0), 0, 0.0


def _totals(draft: _Draft) -> tuple[Totals, ...]:
    totals = []
    for role in draft.groups:
        ends = [row for row in draft.ends if (row["role"] or "") == role]
        summed = [row for row in ends if row["id"] == "SUM"] or ends
        sent = [row for row in summed if row["rest"].rstrip().endswith("sender")]
        received = [row for row in summed if row["rest"].rstrip().endswith("receiver")]
        datagrams = [_datagrams(row) for row in received or summed]
        is_sender = _is_sender(draft, role)
        totals.append(
            Totals(
                is_up=is_sender != draft.is_server,
                sent_bytes=sum(map(_size_bytes, sent)),
                received_bytes=sum(map(_size_bytes, received)),
                received_s=max((_duration_s(row) for row in received), default=0.0),
                n_datagrams=sum(n for n, _, _ in datagrams) if draft.is_udp else 0,
                n_lost=sum(n for _, n, _ in datagrams) if draft.is_udp else 0,
                jitter_s=max((jitter for _, _, jitter in datagrams), default=0.0),
            )
        )
    return tuple(totals)
