"""Streams for a person: what plays, how many at once, and cameras under the plan."""

import math
from typing import TYPE_CHECKING

from rich.text import Text

from linkfit.forecast.cameras import H265_FACTOR
from linkfit.report.estimates import share_text, share_texts
from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.wording import QUANTILES, amount
from linkfit.units import format_duration, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.stream_forecast import StreamAnswer, StreamForecast
    from linkfit.site.plan import Plan

_SIMPLE_FEED = "640x360, 5 frames/s"
_SECONDS_PER_MINUTE = 60.0


def streams_text(found: "StreamForecast") -> "list[RenderableType]":
    """Everything that is said of streams on a link."""
    wanted = format_share(found.wanted_prob)
    return [
        heading("Streams that the server sends (link up)"),
        Text(),
        *bullets(_answers(found)),
        Text(),
        heading(f"Films, sessions of {format_duration(found.session_s)}"),
        Text(),
        _films(found),
        Text(),
        sentence(
            "Still an hour: mean time that the picture stands still for each hour of watching, "
            f"and its 5 to 95 % over sessions. At once: most viewers with {wanted} of sessions "
            "without a stall. Intervals are wide where the link was measured little."
        ),
        Text(),
        heading(f"Cameras looked at live, {format_duration(found.live_session_s)} at a time"),
        Text(),
        _feeds(found),
        Text(),
        sentence(
            "A good look stands still for at most a twentieth of its time. Under each picture its "
            f"frames and its H.264 rate, common practice; H.265 takes {H265_FACTOR[0]:g} to "
            f"{H265_FACTOR[1]:g} of that. Minutes "
            "a month that the plan leaves: alone, or beside the rest of the site."
        ),
        Text(),
        *bullets(_notes(found)),
    ]


def _answers(found: "StreamForecast") -> list[str]:
    fits = [one for one in found.films if one.n_most > 0]
    feed = next(one for one in found.feeds if one.name == _SIMPLE_FEED)
    if fits:
        best = fits[-1]
        film = (
            f"The best that plays is {best.name} ({format_rate(best.rate_bps)}): "
            f"{share_text(best.good)} of sessions without a stall, at most {_number(best)} at "
            f"once. So that {format_share(found.wanted_prob)} of them find room (Erlang B), "
            f"{_starts(best, found)} may start an hour."
        )
    else:
        least = found.films[0]
        film = (
            f"Not even {least.name} ({format_rate(least.rate_bps)}) plays well: only "
            f"{share_text(least.good)} of sessions are without a stall."
        )
    camera = (
        f"One camera live ({feed.name}, {format_rate(feed.rate_bps)}): "
        f"{feed.verdict(found.wanted_prob)}, {share_text(feed.good)} of looks are good"
    )
    months = [
        f"{_said(one)} a month {what}"
        for one, what in (
            (feed.month_alone, "if the plan were for it alone"),
            (feed.month, "beside the rest of the site"),
        )
        if one is not None
    ]
    return [film, f"{camera}; {'; '.join(months)}." if months else f"{camera}."]


def _starts(film: "StreamAnswer", found: "StreamForecast") -> str:
    """Sessions an hour with their interval: "0.57 (0.08 to 0.57)"."""
    starts = found.starts_per_h(film)
    value, low, high = (f"{number:.2g}" for number in (starts.value, starts.low, starts.high))
    return f"{value} ({low} to {high})"


def _films(found: "StreamForecast") -> Listing:
    listing = Listing(
        columns=(
            Column(heading="stream"),
            Column(heading="no stall", right=True),
            Column(heading="still an hour", right=True),
            Column(heading="first picture", right=True),
            Column(heading="at once", right=True),
            Column(heading="verdict"),
        )
    )
    for one in found.films:
        mean = float(one.still_s_per_hour.draws.mean())
        low, _, high = (float(q) for q in one.still_s_per_hour.quantile(QUANTILES))
        first_low, first, first_high = (float(q) for q in one.wait_s.quantile(QUANTILES))
        listing.add(
            (one.name, format_rate(one.rate_bps)),
            share_texts(one.good),
            (_seconds(mean), _between(low, high)),
            (amount(first, "s"), _between(first_low, first_high)),
            _numbers(one),
            one.verdict(found.wanted_prob),
        )
    return listing


def _feeds(found: "StreamForecast") -> Listing:
    columns = [
        Column(heading="picture"),
        Column(heading="good looks", right=True),
        Column(heading="at once", right=True),
    ]
    if found.cap_bytes is not None:
        columns.append(Column(heading="min alone", right=True))
    if found.feeds[0].month is not None:
        columns.append(Column(heading="min beside", right=True))
    listing = Listing(columns=(*columns, Column(heading="verdict")))
    for one in found.feeds:
        picture, _, frames = one.name.partition(", ")
        each_s = f"{frames.partition(' ')[0]}/s, {format_rate(one.rate_bps, 2)}"
        months = [_minutes(month) for month in (one.month_alone, one.month) if month is not None]
        listing.add(
            (picture, each_s),
            share_texts(one.good),
            _numbers(one),
            *months,
            one.verdict(found.wanted_prob),
        )
    return listing


def _numbers(one: "StreamAnswer") -> tuple[str, str]:
    return str(one.n_most), f"{one.n_low} to {one.n_high}"


def _number(one: "StreamAnswer") -> str:
    value, interval = _numbers(one)
    return f"{value} ({interval})"


def _between(low_s: float, high_s: float) -> str:
    first, last = _seconds(low_s), _seconds(high_s)
    number, _, unit = first.rpartition(" ")
    return f"{number} to {last}" if last.endswith(f" {unit}") else f"{first} to {last}"


def _seconds(duration_s: float) -> str:
    return format_duration(duration_s) if duration_s >= 0.05 else "0 s"


def _minutes(month: "Forecast") -> tuple[str, str]:
    """Median and interval of a time a month, in minutes."""
    low, middle, high = (
        _two_digits(float(q) / _SECONDS_PER_MINUTE) for q in month.quantile(QUANTILES)
    )
    return middle, f"{low} to {high}" if low != high else ""


def _said(month: "Forecast") -> str:
    middle, interval = _minutes(month)
    return f"{middle} min ({interval})" if interval else f"{middle} min"


def _two_digits(number: float) -> str:
    """A count with two digits that mean something: 14,188 is 14000."""
    if number < 1:
        return "0"
    step = 10 ** max(math.floor(math.log10(number)) - 1, 0)
    return str(round(number / step) * step)


def _notes(found: "StreamForecast") -> list[str]:
    notes = [
        "Viewers share the link equally and a player keeps 30 s ahead; a live picture runs at "
        "most 4 s late."
    ]
    if found.is_floor:
        notes.append(
            "Nobody ever asked this link for all it carries upwards: more may fit; measure with a "
            "transfer that tries for all it can get."
        )
    if found.load_bps > 0:
        notes.append(
            f"Beside them the site's transfers send {format_rate(found.load_bps)} in the mean; "
            "its own streams are left out."
        )
    if found.hour is not None:
        notes.append(f"All of it holds for {found.hour} to {found.hour + 1} h local time.")
    if found.cap_bytes is None:
        notes.append("Minutes a month need the plan: --cap or --site.")
    else:
        notes.append(_plan_note(found.plan, found.cap_bytes))
    if found.hours_assumed:
        notes.append(f"{found.hours_assumed[0].upper()}{found.hours_assumed[1:]}.")
    return notes


def _plan_note(plan: "Plan", cap_bytes: float) -> str:
    """What a month of the plan holds, by its own rules."""
    ways = {"both": "both directions", "up": "what goes up", "down": "what comes down"}
    text = f"The plan holds {format_size(cap_bytes)} a month and counts {ways[plan.counted]}"
    if plan.tether_bytes == cap_bytes:
        text += ", the part that a hotspot's clients may use"
    if plan.round_up_bytes:
        text += f"; each session is rounded up to whole {format_size(plan.round_up_bytes)}"
    if plan.carry_over_bytes:
        text += ("; used up each month, it has nothing to carry over: a month after an idle one "
                 f"has up to {format_size(plan.carry_over_bytes)} more")  # fmt: skip
    return f"{text}."
