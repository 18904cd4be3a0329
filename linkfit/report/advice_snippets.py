"""Chosen settings as generic snippets: every line a comment, to be reviewed, never applied.

Names of the site stand in comments only, on one line each, so that none of them can act when
somebody takes the comment marks off. Cache-Control: RFC 9111 section 5.2.2 and RFC 9110; the mark
of lower effort is DSCP 1 (RFC 8622), the upper six bits of the traffic class octet (RFC 2474).
"""

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from linkfit.report.plain import harmless
from linkfit.units import BITS_PER_BYTE, format_size

if TYPE_CHECKING:
    from linkfit.advice.advise import Advice
    from linkfit.advice.change import Change
    from linkfit.advice.edits import Edit
    from linkfit.site.hours import DayWindow

FILE_NAME = "settings-to-review.txt"
_HEAD = """\
# Settings that the advice chose, as generic snippets. Nothing here was applied, and every line is
# a comment: read it, adapt it to the programs you run, and only then take the marks off.
# Words in capitals are yours to fill in."""
_BURST_S = 0.05  # a bucket of 50 ms at the rate, at least three full packets
_LEAST_BURST_BYTES = 4500
_LE = 1  # DSCP of lower effort


def snippets_text(advice: "Advice") -> str:
    """All chosen changes of `advice` as text, one paragraph a change."""
    parts = [_HEAD]
    parts += ["\n".join(_paragraph(advice, change)) for change in advice.chosen]
    if not advice.chosen:
        parts.append("# Nothing to change.")
    return "\n\n".join(parts) + "\n"


def _paragraph(advice: "Advice", change: "Change") -> Iterator[str]:
    owner = f"{change.service}: " if change.service else ""
    yield _comment(f"{owner}{change.what}: {change.before_text} -> {change.after_text}")
    yield _comment(f"costs: {change.cost_text}")
    for edit in change.edits:
        lines = _WRITERS.get((edit.editor, edit.field)) or _WRITERS.get((edit.editor, ""))
        for line in lines(advice, edit) if lines else _by_hand():
            yield f"# {line}"


def _comment(text: str) -> str:
    return f"# {harmless(text)}"


def _by_hand() -> Iterator[str]:
    yield "set this in the program itself"


def _cache(advice: "Advice", edit: "Edit") -> Iterator[str]:
    """What a browser alone may keep is private: no cache in front of all may hold it."""
    scope = next(
        task.cache.scope
        for service in advice.before.site.services if service.name == edit.service
        for task in service.tasks if task.name == edit.task
    )  # fmt: skip
    who = "public" if scope == "shared" else "private"
    yield f"Cache-Control: {who}, max-age={edit.value:.0f}"


def _rate_limit(_: "Advice", edit: "Edit") -> Iterator[str]:
    burst = max(edit.value * _BURST_S / BITS_PER_BYTE, _LEAST_BURST_BYTES)
    bucket = f"tbf rate {edit.value:.0f}bit burst {burst:.0f} latency 50ms"
    yield f"tc qdisc add dev INTERFACE root {bucket}"
    yield "the line above holds everything on INTERFACE; if the program has a limit of its own:"
    yield f"rate limit = {edit.value / BITS_PER_BYTE / 1e3:.0f} kB/s"


def _low_priority(_: "Advice", __: "Edit") -> Iterator[str]:
    """Two bands, the second served while the first is empty; what is marked goes to the second."""
    yield f"on the server, for the user that the program runs as: mark it lower effort, DSCP {_LE}"
    for tool in ("iptables", "ip6tables"):
        yield f"{tool} -t mangle -A OUTPUT -m owner --uid-owner USER -j DSCP --set-dscp {_LE}"
    yield "on the router, where the queue is, INTERFACE towards the internet:"
    first = " ".join("0" * 16)
    yield f"tc qdisc add dev INTERFACE root handle 1: prio bands 2 priomap {first}"
    octet = f"{_LE << 2:#04x} 0xfc"
    for number, (protocol, match) in enumerate((("ip", "ip tos"), ("ipv6", "ip6 priority")), 1):
        match = f"u32 match {match} {octet} flowid 1:2"
        yield f"tc filter add dev INTERFACE parent 1: protocol {protocol} prio {number} {match}"
    yield "a tunnel must copy the mark to its outer packets, else mark those by their address"


def _window(_: "Advice", edit: "Edit") -> Iterator[str]:
    windows: tuple[DayWindow, ...] = edit.value
    for window in windows:
        for clock_h, word in ((window.start_h, "start"), (window.end_h, "stop")):
            minute = round(clock_h * 60) % (24 * 60)
            yield f"{minute % 60} {minute // 60} * * * COMMAND-TO-{word.upper()}"


def _plan(_: "Advice", edit: "Edit") -> Iterator[str]:
    yield f"order a plan of {format_size(edit.value)} or more; read what its terms forbid"


def _power(_: "Advice", edit: "Edit") -> Iterator[str]:
    part, unit = {"panel_w": ("panel", "W"), "battery_wh": ("battery", "Wh")}[edit.field]
    yield f"{part} of {edit.value:.4g} {unit} in all, within the limits that its maker states"


def _local_name(_: "Advice", __: "Edit") -> Iterator[str]:
    yield "in the zone that your own resolver answers on the local network, and nowhere else:"
    yield "NAME-OF-SERVER. 300 IN A LOCAL-ADDRESS"


def _picture(_: "Advice", edit: "Edit") -> Iterator[str]:
    unit = {"edge_px": "long edge of {} px, never enlarged", "quality": "encoder quality {}",
            "format": "encoder {}"}[edit.field]  # fmt: skip
    yield "store a copy for viewing beside the original: " + unit.format(edit.value)


_WRITERS: "dict[tuple[str, str], Callable[[Advice, Edit], Iterator[str]]]" = {
    ("cache", ""): _cache,
    ("service", "rate_limit_bps"): _rate_limit,
    ("backlog", "rate_limit_bps"): _rate_limit,
    ("service", "priority"): _low_priority,
    ("service", "window"): _window,
    ("backlog", "window"): _window,
    ("plan", ""): _plan,
    ("power", ""): _power,
    ("local names", ""): _local_name,
    ("image", ""): _picture,
    ("backlog image", ""): _picture,
}
