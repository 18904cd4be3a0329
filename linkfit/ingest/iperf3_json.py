"""iperf3's JSON reports, whole, several in a row, as a stream of events, or cut short."""

import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from linkfit.errors import TraceError
from linkfit.ingest import iperf3_text
from linkfit.ingest.iperf3_run import Interval, Note, Run, Totals, is_clock

_LONGEST_RTT_US = 3.6e9
_DECODER = json.JSONDecoder()
_SPACE = re.compile(r"[\s,\x00]*")
_NEXT_REPORT = re.compile(r'\{\s*"(?:start"\s*:\s*\{|event"\s*:\s*")')
_MOST_DAMAGED = 1000  # each costs a search; a file of more is no file of reports
_SUMS = ("sum", "sum_bidir_reverse")


def read_runs(text: str) -> list[Run]:
    """Every report in `text`, in its order; a report cut short keeps its whole intervals.

    Raises
    ------
    TraceError
        If hardly any report is whole.
    """
    reports = list(_reports(text))
    runs = []
    stream: list[Mapping[str, Any]] = []
    for report in reports:
        if isinstance(report.get("event"), str):
            if report["event"] == "start" and stream:
                runs.append(_run(_from_events(stream), "iperf3 JSON stream"))
                stream = []
            stream.append(report)
        else:
            runs.append(_run(report, "iperf3 JSON"))
    if stream:
        runs.append(_run(_from_events(stream), "iperf3 JSON stream"))
    return _once_each(runs)


def _once_each(runs: list[Run]) -> list[Run]:
    """One run a test: a stream of events may be followed by the whole report of the same test."""
    kept: dict[object, Run] = {}
    for number, run in enumerate(runs):
        key = (run.cookie, run.is_server) if run.cookie else number
        first = kept.get(key)
        if first is None:
            kept[key] = run
            continue
        fuller = max(first, run, key=lambda r: len(r.intervals))
        note = Note("report printed twice", 1, "the same test again; it counts once")
        kept[key] = replace(fuller, repairs=(*fuller.repairs, note))
    return list(kept.values())


def _decode(text: str, position: int) -> tuple[Any, int] | None:
    """The JSON value at `position` and where it ends, or None if there is no whole one."""
    try:
        return _DECODER.raw_decode(text, position)
    except (ValueError, RecursionError):  # numbers of thousands of digits are ValueErrors too
        return None


def _skip(text: str, position: int) -> int:
    match = _SPACE.match(text, position)
    return match.end() if match else position


def _reports(text: str) -> Iterator[Mapping[str, Any]]:
    """Each report or event; damaged ones carry what could be recovered and ``"cut": True``."""
    position, n_damaged = 0, 0
    while (position := _skip(text, position)) < len(text):
        decoded = _decode(text, position) if text[position] in "[{" else None
        if decoded is not None:
            value, position = decoded
            for item in value if isinstance(value, list) else [value]:
                if isinstance(item, Mapping):
                    yield item
            continue
        following = _NEXT_REPORT.search(text, position + 1)
        end = following.start() if following else len(text)
        if text[position] == "{":
            n_damaged += 1
            if n_damaged > _MOST_DAMAGED:
                raise TraceError(
                    f"character {position}: expected iperf3 reports, got more than "
                    f"{_MOST_DAMAGED} damaged ones; keep each report in a file of its own"
                )
            recovered = _recover(text[position:end])
            if recovered:
                yield {**recovered, "cut": True}
        position = end


def _recover(text: str) -> dict[str, Any]:
    """The whole members of an object that is cut short, and the whole items of its intervals."""
    members: dict[str, Any] = {}
    position = _skip(text, 1)
    while (key := _decode(text, position)) is not None and isinstance(key[0], str):
        position = _skip(text, key[1])
        if text[position : position + 1] != ":":
            break
        position = _skip(text, position + 1)
        value = _decode(text, position)
        if value is None:
            if key[0] == "intervals" and text[position : position + 1] == "[":
                members["intervals"] = _whole_items(text, position + 1)
            break
        members[key[0]] = value[0]
        position = _skip(text, value[1])
    return members


def _whole_items(text: str, position: int) -> list[Any]:
    items = []
    while (value := _decode(text, _skip(text, position))) is not None:
        items.append(value[0])
        position = value[1]
    return items


def _from_events(events: list[Mapping[str, Any]]) -> dict[str, Any]:
    """A stream of events as the one report that it spells out."""
    report: dict[str, Any] = {"intervals": []}
    for event in events:
        name, data = event["event"], event.get("data")
        if name == "interval":
            report["intervals"].append(data)
        elif name in ("start", "end", "error", "server_output_json", "server_output_text"):
            report[name] = data
        if event.get("cut"):
            report["cut"] = True
    return report


def _number(holder: object, *path: str) -> float:
    """The finite number at `path` inside nested objects, or 0."""
    value = holder
    for key in path:
        value = value.get(key) if isinstance(value, Mapping) else None
    return _finite(value) or 0.0


def _finite(value: object) -> float | None:
    """`value` as a float if it is a finite number, else None."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _text(holder: object, *path: str) -> str:
    value = holder
    for key in path:
        value = value.get(key) if isinstance(value, Mapping) else None
    return value if isinstance(value, str) else ""


def _mapping(holder: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    value = holder.get(key)
    return value if isinstance(value, Mapping) else {}


def _list(holder: Mapping[str, Any], key: str) -> list[Any]:
    value = holder.get(key)
    return value if isinstance(value, list) else []


def _run(report: Mapping[str, Any], form: str) -> Run:
    """One report in linkfit's terms."""
    start = _mapping(report, "start")
    is_server = "accepted_connection" in start
    is_reverse = _number(start, "test_start", "reverse") != 0
    intervals: list[Interval] = []
    n_bad = 0
    for entry in _list(report, "intervals"):
        found = _intervals(entry, is_server=is_server, is_reverse=is_reverse)
        intervals += found
        n_bad += not found
    repairs = []
    if n_bad:
        text = "intervals without a usable length and byte count were skipped"
        repairs.append(Note("interval skipped", n_bad, text))
    if report.get("cut"):
        text = "the report is cut short; its whole intervals were kept"
        repairs.append(Note("report cut short", len(intervals), text))
    started_s, findings = _clock(start)
    end = _mapping(report, "end")
    udp = _is_udp(start, report)
    target = _target_bps(start)
    return Run(
        format=form,
        transport={True: "udp", False: "tcp", None: "unknown"}[udp],
        is_server=is_server,
        peer=_peer(start),
        started_s=started_s,
        target_bps=target,
        window_bytes=_number(start, "sock_bufsize"),
        block_bytes=_number(start, "test_start", "blksize"),
        intervals=tuple(intervals),
        far_intervals=_far_intervals(report),
        totals=_totals(end, intervals, is_server=is_server, is_reverse=is_reverse),
        cookie=_text(start, "cookie"),
        error=_text(report, "error"),
        repairs=tuple(repairs),
        findings=tuple(findings),
    )


def _far_intervals(report: Mapping[str, Any]) -> tuple[Interval, ...]:
    """What the server counted, where the client asked for it: JSON, or the text it printed."""
    far: list[Interval] = []
    output = _mapping(report, "server_output_json")
    for entry in _list(output, "intervals"):
        is_reverse = _number(_mapping(output, "start"), "test_start", "reverse") != 0
        far += _intervals(entry, is_server=True, is_reverse=is_reverse)
    printed = _text(report, "server_output_text")
    for run in iperf3_text.read_runs(printed.splitlines()):
        far += run.intervals
    return tuple(interval for interval in far if not interval.is_sender)


def _is_udp(start: Mapping[str, Any], report: Mapping[str, Any]) -> bool | None:
    """Whether the test was UDP; None for a protocol that is neither UDP nor TCP."""
    protocol = _text(start, "test_start", "protocol").upper()
    if protocol:
        return {"UDP": True, "TCP": False}.get(protocol)
    first = next(iter(_list(report, "intervals")), None)
    streams = _list(first, "streams") if isinstance(first, Mapping) else []
    return any(isinstance(stream, Mapping) and "packets" in stream for stream in streams)


def _peer(start: Mapping[str, Any]) -> str:
    connected = next(iter(_list(start, "connected")), None)
    return (
        _text(start, "connecting_to", "host")
        or _text(connected, "remote_host")
        or _text(start, "accepted_connection", "host")
    )


def _clock(start: Mapping[str, Any]) -> tuple[float | None, list[Note]]:
    """The start of the test in UTC, None where the report does not say it credibly."""
    started_s = _number(start, "timestamp", "timesecs")
    if not started_s:
        return None, []
    if is_clock(started_s):
        return started_s, []
    text = (
        f"the report says {started_s:g} s since 1970, so its clock was not set; hours are unknown"
    )
    return None, [Note("clock not set", 1, text)]


def _target_bps(start: Mapping[str, Any]) -> float | None:
    """The rate the sender was told to keep, per stream: -b or --fq-rate, whichever is lower."""
    asked = [
        _number(start, "test_start", "target_bitrate") or _number(start, "target_bitrate"),
        _number(start, "test_start", "fqrate"),
    ]
    is_said = "target_bitrate" in start or "target_bitrate" in _mapping(start, "test_start")
    limits = [rate for rate in asked if rate > 0]
    if limits:
        return min(limits)
    return 0.0 if is_said else None


def _intervals(entry: object, *, is_server: bool, is_reverse: bool) -> list[Interval]:
    """The one or two directions of an entry of ``intervals``."""
    if not isinstance(entry, Mapping):
        return []
    found = []
    streams = [s for s in _list(entry, "streams") if isinstance(s, Mapping)]
    for name in _SUMS:
        total = entry.get(name)
        if not isinstance(total, Mapping):
            continue
        sends = total.get("sender")
        if not isinstance(sends, bool):  # before 3.7 it went without saying
            sends = is_server == is_reverse
        mine = [s for s in streams if s.get("sender", sends) is sends]
        interval = _interval(total, mine, is_sender=sends, is_up=sends != is_server)
        if interval is not None:
            found.append(interval)
    return found


def _interval(
    total: Mapping[str, Any], streams: list[Mapping[str, Any]], *, is_sender: bool, is_up: bool
) -> Interval | None:
    start_s = _number(total, "start")
    duration_s = _number(total, "seconds") or _number(total, "end") - start_s
    n_bytes = _finite(total.get("bytes"))  # 0 is a count, a missing one is none
    if n_bytes is None or not (duration_s > 0 and n_bytes >= 0 and start_s >= 0):
        return None
    rtts_us = [rtt for s in streams if 0 < (rtt := _number(s, "rtt")) < _LONGEST_RTT_US]
    return Interval(
        start_s=start_s,
        duration_s=duration_s,
        n_bytes=n_bytes,
        is_up=is_up,
        is_sender=is_sender,
        is_omitted=total.get("omitted") is True,
        n_streams=max(len(streams), 1),
        rtt_s=sum(rtts_us) / len(rtts_us) * 1e-6 if rtts_us else 0.0,
        peer_window_bytes=sum(_number(s, "snd_wnd") for s in streams),
        congestion_window_bytes=sum(_number(s, "snd_cwnd") for s in streams),
        n_datagrams=int(max(_number(total, "packets"), 0)),
        n_lost=int(max(_number(total, "lost_packets"), 0)),
    )


def _totals(
    end: Mapping[str, Any], intervals: list[Interval], *, is_server: bool, is_reverse: bool
) -> tuple[Totals, ...]:
    """What both ends counted; a server's view of a two-way test names no direction: left out."""
    two_way = "sum_sent_bidir_reverse" in end or len({i.is_up for i in intervals}) > 1
    if two_way and is_server:
        return ()
    totals = [_total(end, "", is_up=not is_reverse)]
    if two_way:
        totals.append(_total(end, "_bidir_reverse", is_up=False))
    return tuple(totals)


def _mean_rtt_s(end: Mapping[str, Any]) -> float:
    """The sender's mean round trip over a one-way test, 0 where it is not said."""
    means = [_number(stream, "sender", "mean_rtt") for stream in _list(end, "streams")]
    is_said = means and min(means) > 0 and max(means) < _LONGEST_RTT_US
    if "sum_sent_bidir_reverse" in end or not is_said:
        return 0.0
    return sum(means) / len(means) * 1e-6


def _total(end: Mapping[str, Any], suffix: str, *, is_up: bool) -> Totals:
    both, sent, received = (
        _mapping(end, name + suffix) for name in ("sum", "sum_sent", "sum_received")
    )
    n_datagrams = int(max(_number(received, "packets"), _number(both, "packets"), 0))
    n_lost = int(max(_number(received, "lost_packets"), _number(both, "lost_packets"), 0))
    sent_bytes = _number(sent, "bytes") or _number(both, "bytes")
    received_bytes = _number(received, "bytes")
    if both and not received and n_datagrams:  # before 3.7: one sum, of what was sent
        received_bytes = sent_bytes * max(1 - n_lost / n_datagrams, 0.0)
    return Totals(
        is_up=is_up,
        sent_bytes=max(sent_bytes, 0.0),
        received_bytes=max(received_bytes, 0.0),
        received_s=max(_number(received, "seconds") or _number(both, "seconds"), 0.0),
        n_datagrams=n_datagrams,
        n_lost=min(n_lost, n_datagrams),
        jitter_s=max(_number(received, "jitter_ms") or _number(both, "jitter_ms"), 0.0) * 1e-3,
        rtt_s=_mean_rtt_s(end) if not suffix else 0.0,
    )
