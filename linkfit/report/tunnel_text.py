"""A tunnel for a person: how often it says hello, what that costs, which sizes fit through it."""

from typing import TYPE_CHECKING

from rich.text import Text

from linkfit.forecast.keepalive import LEAST_INTERVAL_S, LEAST_TIMER_S, USUAL_TIMER_S
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.wording import DIRECTION_WORDS, between
from linkfit.units import format_duration, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.forecast.keepalive import HelloRow, KeepaliveForecast
    from linkfit.forecast.tunnel import TunnelSizes
    from linkfit.forecast.world_intervals import Estimate

_TITLES = {
    4: "Hello through the carrier's address translation",
    6: "Hello through the carrier's filter",
}
_OVER = {"udp": "UDP", "tcp": "TLS over TCP"}
_STANDARD = {"udp": "RFC 4787 REQ-5", "tcp": "RFC 5382 REQ-5"}


def tunnel_text(
    keepalive: "KeepaliveForecast",
    sizes: "TunnelSizes",
    safe: "TunnelSizes",
    *,
    translated: tuple[bool | None, str] | None = None,
    cap_bytes: float | None = None,
) -> "list[RenderableType]":
    """Everything that is said of a tunnel; the arguments are those of `tunnel_record`."""
    return apart(
        [
            [
                heading(f"{_TITLES[keepalive.ip_version]}, {_OVER[keepalive.transport]}"),
                *_translated(translated),
                *_hellos(keepalive, cap_bytes),
            ],
            _sizes(sizes, safe),
            _assumed(keepalive),
        ]
    )


def _translated(found: tuple[bool | None, str] | None) -> "list[RenderableType]":
    """What the router's address tells."""
    if found is None:
        return []
    words = {True: "Yes", False: "No", None: "Cannot be told"}
    answer = f"Does the carrier translate addresses? {words[found[0]]}: {found[1]}."
    return [Text(), sentence(answer)]


def _hellos(keepalive: "KeepaliveForecast", cap_bytes: float | None) -> "list[RenderableType]":
    """The table of intervals, and the one to use."""
    listing = Listing(
        columns=(
            Column(heading="hello each", right=True),
            Column(heading="data a month", right=True),
            Column(heading="mapping lost, a month", right=True),
            Column(heading="out of reach, a month", right=True),
        )
    )
    for row in keepalive.rows:
        mark = " *" if row.interval_s == keepalive.interval_s else ""
        listing.add(f"{format_duration(row.interval_s)}{mark}", _use(row), *_losses(row))
    row = keepalive.row
    low, middle, high = (float(q) for q in row.use.quantile((0.05, 0.5, 0.95)))
    share = ""
    if cap_bytes:
        share = f", {format_share(middle / cap_bytes)} of the plan"
    return [
        Text(),
        sentence(_timer(keepalive)),
        Text(),
        listing,
        Text(),
        sentence(
            f"* Say hello every {format_duration(row.interval_s)}: {format_size(middle)} a month "
            f"({between(low, high, 'bytes')}){share}. Chance that the mapping is lost before the "
            f"next hello gets through: {_chance(row.prob)}."
        ),
        *_sturdier(keepalive),
    ]


def _sturdier(keepalive: "KeepaliveForecast") -> "list[RenderableType]":
    """What it costs, and brings, that one lost hello does no harm."""
    row, sturdy = keepalive.row, keepalive.sturdy_row
    if sturdy.interval_s >= row.interval_s or keepalive.transport != "udp":
        return []
    more_bytes = float(sturdy.use.quantile(0.5) - row.use.quantile(0.5))
    text = (
        f"Every {format_duration(sturdy.interval_s)} one lost hello does no harm: out of reach "
        f"{_span(sturdy.unreachable_s.value)} a month and not {_span(row.unreachable_s.value)}, "
        f"for {format_size(more_bytes, 2)} a month more."
    )
    if sturdy.interval_s < LEAST_INTERVAL_S:
        text += " That is more often than RFC 8085 recommends (section 3.5)."
    return [sentence(text)]


def _timer(keepalive: "KeepaliveForecast") -> str:
    """The timer and what the standards ask of it."""
    timer = format_duration(keepalive.timer_s)
    least = format_duration(LEAST_TIMER_S[keepalive.transport])
    standard = _STANDARD[keepalive.transport]
    if not keepalive.is_timer_measured:
        return (
            f"How long the carrier keeps a silent mapping was not measured: {timer} assumed "
            f"(common practice). {standard} asks for at least {least}; give --nat-timer."
        )
    if keepalive.timer_s < LEAST_TIMER_S[keepalive.transport]:
        return (
            f"A silent mapping lasts {timer}, as you measured it: less than the {least} that "
            f"{standard} asks for."
        )
    return f"A silent mapping lasts {timer}, as you measured it ({standard}: at least {least})."


def _use(row: "HelloRow") -> tuple[str, str]:
    low, middle, high = (float(q) for q in row.use.quantile((0.05, 0.5, 0.95)))
    return format_size(middle, 2), f"({_ends(format_size(low, 2), format_size(high, 2))})"


def _losses(row: "HelloRow") -> tuple[str | tuple[str, str], str | tuple[str, str]]:
    """How often the mapping is lost and how long nothing gets in."""
    if not row.holds:
        return "each time", _time(row.unreachable_s)
    found = row.expiries
    return (
        (_count(found.value), f"({_ends(_count(found.low), _count(found.high))})"),
        _time(row.unreachable_s),
    )


def _time(found: "Estimate") -> tuple[str, str]:
    low, high = (_span(max(s, 0.0)) for s in (found.low, found.high))
    return _span(found.value), f"({_ends(low, high)})"


def _span(duration_s: float) -> str:
    return format_duration(duration_s) if duration_s >= 0.5 else "0 s"


def _ends(low: str, high: str) -> str:
    """Two texts as a range, the unit said once where both share it."""
    if low == high:
        return low
    number, _, unit = low.rpartition(" ")
    return f"{number} to {high}" if number and high.endswith(f" {unit}") else f"{low} to {high}"


def _count(value: float) -> str:
    return f"{value:.0f}" if value >= 9.95 else f"{value:.2g}"


def _chance(found: "Estimate") -> str:
    low, high = (_share(max(p, 0.0)) for p in (found.low, found.high))
    return f"{_share(found.value)} ({_ends(low, high)})"


def _share(prob: float) -> str:
    """In percent, with two digits where it is small."""
    return f"{prob * 100:.2g} %" if prob < 0.0995 else format_share(min(prob, 0.999))


def _sizes(sizes: "TunnelSizes", safe: "TunnelSizes") -> "list[RenderableType]":
    """MTU, MSS and overhead, for this link and for any."""
    listing = Listing(
        columns=(
            Column(heading="largest packet"),
            Column(heading="on the link", right=True),
            Column(heading="in the tunnel", right=True),
            Column(heading="MSS v4 / v6", right=True),
            Column(heading="overhead", right=True),
            Column(heading="payload", right=True),
        )
    )
    for name, one in (("as given", sizes), ("passes anywhere", safe)):
        mss = f"{one.inner_mss_bytes(4):.0f} / {one.inner_mss_bytes(6):.0f} B"
        listing.add(
            name,
            f"{one.mtu_bytes:.0f} B",
            f"{one.inner_mtu_bytes:.0f} B",
            mss if one.carries_ipv6 else f"{one.inner_mss_bytes(4):.0f} / - B",
            f"{one.overhead_frac:.1%}".replace("%", " %"),
            f"{one.goodput_frac:.1%}".replace("%", " %"),
        )
    advice = (
        "If small things work and large ones hang, the way carries less than you think: set the "
        f"tunnel's MTU to {safe.inner_mtu_bytes:.0f} B and clamp the MSS in both directions to "
        f"{safe.inner_mss_bytes(4):.0f} B (IPv4) and {safe.inner_mss_bytes(6):.0f} B (IPv6). "
        f"The true MTU inside lies between {safe.inner_mtu_bytes:.0f} and "
        f"{max(sizes.inner_mtu_bytes, safe.inner_mtu_bytes):.0f} B until you measured it."
    )
    if not sizes.carries_ipv6:
        advice += (
            f" At {sizes.inner_mtu_bytes:.0f} B inside the tunnel IPv6 does not pass (RFC 8200 "
            "section 5)."
        )
    return [heading("Sizes"), Text(), listing, Text(), sentence(advice)]


def _assumed(keepalive: "KeepaliveForecast") -> "list[RenderableType]":
    """What the numbers rest on."""
    low, middle, high = (float(q) for q in keepalive.loss.quantile((0.05, 0.5, 0.95)))
    loss = f"{_share(middle)} ({_ends(_share(low), _share(high))})"
    lines = [
        f"Outages are those of the link's direction {DIRECTION_WORDS[keepalive.direction]}.",
        "The tunnel is idle: any packet outwards refreshes the mapping as well, and one that "
        "comes in need not (RFC 4787 REQ-6).",
        f"A month is 30 days with {keepalive.hours_per_day:.3g} hours a day in which the server "
        "is up. In brackets: from 5 % to 95 %.",
    ]
    if keepalive.ip_version == 6:
        lines.append(
            "Over IPv6 nothing is translated, but a filter that lets in answers alone keeps state "
            "with timers of its own: they are taken alike."
        )
    if keepalive.transport == "udp":
        lines += [
            f"Single packets lost by chance: {loss}, {keepalive.loss_source}.",
            "Data a month: hellos alone at the low end, new keys each two minutes at the high "
            "end (8 MB, common practice).",
            f"RFC 8085 section 3.5: no more often than each {format_duration(LEAST_INTERVAL_S)}; "
            f"RFC 4787 REQ-5 recommends timers of {format_duration(USUAL_TIMER_S)} or more.",
        ]
    else:
        lines.append("Over TCP a lost hello is sent again, so that only outages count.")
    return [heading("Assumed"), *bullets(lines)]
