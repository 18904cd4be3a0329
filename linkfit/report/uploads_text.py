"""Uploads for a person: does it get through, in which pieces, how many at once, which timeouts."""

import math
from typing import TYPE_CHECKING

from rich.text import Text

from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.wording import (
    FLOW_WORDS,
    QUANTILES,
    between,
    between_chances,
    chance_text,
    how_sure,
)
from linkfit.units import SECONDS_PER_DAY, format_duration, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.forecast.chances import Chance
    from linkfit.forecast.draws import Forecast
    from linkfit.forecast.upload_outcomes import LaneRow, PieceRow, UploadsForecast

_ENOUGH_S = 600.0  # less says nothing of rare outages
_AT_MOST = 3.0  # of a kind never seen, 95 %: the rule of three
_BOUNDS = {
    "body limit": "the largest request that the path carries, less a tenth",
    "timeout": "half of what passes within the timeout (total or idle) at the 5 % rate",
    "breaks": "a tenth of the mean time between breaks",
    "item": "the item itself",
}


def uploads_text(forecast: "UploadsForecast") -> "list[RenderableType]":
    """Everything that is said of uploads, in the order of the questions."""
    ask = forecast.ask
    many = f"{ask.n_items} items of " if ask.n_items > 1 else "one item of "
    head: list[RenderableType] = [
        heading(f"{many}{format_size(ask.size_bytes)} {FLOW_WORDS[ask.flow]}"),
    ]
    return apart(
        [
            head + _whole(forecast),
            _requests(forecast),
            _at_once(forecast),
            _timeouts(forecast),
            _assumed(forecast),
        ]
    )


def _whole(forecast: "UploadsForecast") -> "list[RenderableType]":
    """The chance of one item in a single request, what breaks it, what the path refuses."""
    ask, row = forecast.ask, forecast.whole
    chance = (
        f"Chance that one whole item gets through without starting again: {_chance(row.passes)}."
    )
    if row.refused and ask.body_limit_bytes is not None:
        chance = (
            f"This path cannot carry files over {format_size(ask.body_limit_bytes)} in one "
            "request: a whole item is refused each time. Send it in pieces. Without that limit "
            f"the chance to get through without starting again would be {_chance(row.passes)}."
        )
    drops = f"{ask.drops_per_day:g} drops a day" if ask.drops_per_day else "no drops stated"
    if ask.drops_per_day == 1:
        drops = "1 drop a day"
    rate = f"Payload rate over {format_duration(forecast.window_s)}: {_rate(forecast.rate)}."
    if ask.total_timeout_s is not None:
        rate += (
            f" At its 5 % point {format_size(forecast.most_in_time_bytes)} pass within the total "
            f"timeout of {format_duration(ask.total_timeout_s)}."
        )
    return [
        Text(),
        sentence(chance),
        sentence(rate),
        sentence(
            f"What breaks it: outages longer than {format_duration(ask.idle_timeout_s)}, "
            f"{_outages(forecast)}, and {drops}."
        ),
        *_same_link(forecast),
    ]


def _same_link(forecast: "UploadsForecast") -> "list[RenderableType]":
    """What of the items crosses the link both ways, and how long that takes."""
    share = forecast.ask.same_link_share_frac
    if not share:
        return []
    whose = f"{format_share(share)} of items come from clients on the same link as the server"
    if forecast.unmeasured:
        return [sentence(f"{whose}; the times leave them out: {forecast.unmeasured} was never "
                         "measured, which they cross as well.")]  # fmt: skip
    text = (
        f"{whose} and by the public name cross it both ways, up and down: the slower direction "
        "sets their time, and a plan that counts both is charged twice. By a local name they do "
        "not cross it (--same-link-share 0)."
    )
    found = forecast.same_link
    if found is not None and not forecast.whole.refused:
        text += (
            f" One whole item takes {_time(found.stays)} for them, {_time(found.away)} for all "
            "others."
        )
    return [sentence(text)]


def _time(forecast: "Forecast") -> str:
    """Median and range in one line."""
    low, middle, high = (float(q) for q in forecast.quantile(QUANTILES))
    if math.isinf(middle):
        return "for ever"
    return f"{format_duration(middle)} ({between(low, high, forecast.unit)})"


def _outages(forecast: "UploadsForecast") -> str:
    """How many a day, and what none in the time measured leaves open."""
    found = forecast.outages_per_day
    if found.value > 0:
        return f"{_number(found.value)} a day ({_number(found.low)} to {_number(found.high)})"
    if forecast.measured_s < _ENOUGH_S:
        return "of which nothing was measured"
    most = _AT_MOST * SECONDS_PER_DAY / forecast.measured_s
    return (
        f"none seen in the {format_duration(forecast.measured_s)} measured, which leaves up to "
        f"{_number(most)} a day possible"
    )


def _requests(forecast: "UploadsForecast") -> "list[RenderableType]":
    """The table of request sizes, and the size to use."""
    listing = Listing(
        columns=(
            Column(heading="one request"),
            Column(heading="passes first", right=True),
            Column(heading="one item takes", right=True),
            Column(heading="expected", right=True),
            Column(heading="sent in vain", right=True),
        )
    )
    for row in forecast.rows:
        _add_request(listing, row, row is forecast.whole)
    chunk = forecast.chunk
    spread = _interval(forecast.chunks)
    if chunk.bound == "item" and chunk.chunk_bytes >= forecast.ask.size_bytes:
        advice = "Pieces gain nothing for items of this size: send each whole."
    else:
        low, high = format_size(chunk.low_bytes, 2), format_size(chunk.high_bytes, 2)
        which = f"Any from {low} to {high} does; the" if low != high else f"Up to {high}; the"
        advice = (
            f"Send pieces of {format_size(chunk.chunk_bytes, 2)}{spread}. {which} upper end is "
            f"{_BOUNDS[chunk.bound]}."
        )
    if chunk.tight:
        advice += " Round trips cost more than a twentieth of the time at this size."
    lines: list[RenderableType] = [
        heading("In which pieces"),
        Text(),
        listing,
        Text(),
        sentence(advice),
    ]
    return lines


def _add_request(listing: Listing, row: "PieceRow", is_whole: bool) -> None:
    size = format_size(row.piece_bytes)
    name = (size, "(whole)") if is_whole else size
    if row.refused:
        listing.add(name, "refused", "never", "", "")
        return
    low, high = row.wasted.quantile((0.05, 0.95))
    wasted: str | tuple[str, str] = ""
    if math.isfinite(float(row.time.quantile(0.5))):
        # a mean of rare losses may lie above the 95 % future
        rare = high < row.mean_wasted_bytes
        spread = "rarely any" if rare else between(low, high, "bytes")
        wasted = (format_size(row.mean_wasted_bytes, 2), f"({spread})")
    listing.add(
        name,
        (chance_text(row.passes.prob), f"({_ends(row.passes)})"),
        _with_range(row.time),
        _expected(row),
        wasted,
    )


def _expected(row: "PieceRow") -> str:
    """The mean time, or in how many futures the item never gets through."""
    if math.isfinite(row.mean_s):
        return format_duration(row.mean_s)
    return f"never ({format_share(1.0 - row.time.prob_within(1e300))})"


def _at_once(forecast: "UploadsForecast") -> "list[RenderableType]":
    """The table of uploads at once, and the number to use."""
    if not forecast.lanes:
        return []
    ask = forecast.ask
    listing = Listing(
        columns=(
            Column(heading="at once", right=True),
            Column(heading="first one done", right=True),
            Column(heading="all done", right=True),
            Column(heading="payload rate", right=True),
            Column(heading="items done", right=True),
        )
    )
    for row in forecast.lanes:
        _add_lanes(listing, row)
    pieces = "whole" if forecast.sent_bytes >= ask.size_bytes else (
        f"in pieces of {format_size(forecast.sent_bytes, 2)}"
    )  # fmt: skip
    low, high = (int(n) for n in forecast.n_lanes.quantile((0.05, 0.95)))
    spread = f" ({low} to {high})" if low < high else ""
    return [
        heading(f"How many at once, items sent {pieces}"),
        Text(),
        listing,
        Text(),
        sentence(
            f"Best at once: {forecast.lane_advice.n_lanes}{spread}: {forecast.lane_advice.why}."
        ),
    ]


def _add_lanes(listing: Listing, row: "LaneRow") -> None:
    ends = math.isfinite(float(row.last.quantile(0.5)))
    listing.add(
        str(row.n_lanes),
        _with_range(row.first),
        _with_range(row.last),
        _split(_rate(row.throughput)) if ends else "",
        _split(_items(row.items_per_s)) if ends else "",
    )


def _timeouts(forecast: "UploadsForecast") -> "list[RenderableType]":
    """What common timeouts ask of the link, and which to set."""
    listing = Listing(
        columns=(
            Column(heading="total timeout", right=True),
            Column(heading="asks for at least", right=True),
            Column(heading="one request passes", right=True),
        )
    )
    for row in forecast.timeouts:
        listing.add(
            format_duration(row.timeout_s), format_rate(row.least_rate_bps), _chance(row.passes)
        )
    advice = forecast.timeout
    outage = "no outage was seen"
    if advice.outage is not None:
        low, middle, high = advice.outage.quantile(QUANTILES)
        outage = f"outages last {format_duration(middle)} ({between(low, high, 's')})"
    return [
        heading(f"Timeouts, for one request of {format_size(forecast.sent_bytes, 2)}"),
        Text(),
        listing,
        Text(),
        sentence(
            f"Set a total timeout of at least {format_duration(advice.total_s)} (twice the 95 % "
            f"time of one request: {how_sure(advice.piece, 0.95)}) and an idle timeout of at "
            f"least {format_duration(advice.idle_s)} ({outage})."
        ),
    ]


def _assumed(forecast: "UploadsForecast") -> "list[RenderableType]":
    """What the numbers rest on."""
    lines = [
        "Times are hours in which the server is up; the data plan is not looked at here, "
        "linkfit backlog does.",
        "In brackets: from the 5 % to the 95 % future; behind a chance, how sure it is over many "
        "days: a single hour may be better or worse.",
        "Expected and sent in vain are means over all futures.",
        "An item that needs more than 30 days, or 200 attempts in a row, counts as never.",
    ]
    if not forecast.ask.drops_per_day:
        lines.append(
            "No drops besides outages were stated (changes of address, restarts): count those "
            "you see in a week and give --drops-per-day."
        )
    return [heading("Assumed"), *bullets(lines)]


def _chance(found: "Chance") -> str:
    """A chance with its interval in brackets."""
    return f"{chance_text(found.prob)} ({_ends(found)})"


def _ends(found: "Chance") -> str:
    return between_chances(found.low_prob, found.high_prob)


def _number(value: float) -> str:
    """A count with two digits, in plain notation."""
    return f"{value:.0f}" if abs(value) >= 9.95 else f"{value:.2g}"


def _with_range(forecast: "Forecast") -> "str | tuple[str, str]":
    """Median, and the range from 5 % to 95 % below it."""
    low, middle, high = (float(q) for q in forecast.quantile(QUANTILES))
    if math.isinf(low):
        return "never"
    return format_duration(middle), f"({between(low, high, forecast.unit)})"


def _rate(forecast: "Forecast") -> str:
    """Median rate and its range in brackets."""
    low, middle, high = (format_rate(float(q)) for q in forecast.quantile(QUANTILES))
    number, _, unit = low.rpartition(" ")
    first = number if high.endswith(f" {unit}") else low
    return f"{middle} ({first} to {high})"


def _items(forecast: "Forecast") -> str:
    """Items a second, or an hour where they are few."""
    low, middle, high = (float(q) for q in forecast.quantile(QUANTILES))
    factor, unit = (1.0, "a second") if middle >= 0.1 else (3600.0, "an hour")
    return f"{middle * factor:.2g} {unit} ({low * factor:.2g} to {high * factor:.2g})"


def _interval(forecast: "Forecast") -> str:
    """The range in brackets, empty where both ends are the same."""
    low, high = (float(q) for q in forecast.quantile((0.05, 0.95)))
    return "" if low == high else f" ({between(low, high, forecast.unit)})"


def _split(text: str) -> tuple[str, str]:
    """What stands before the bracket, and the bracket."""
    before, _, after = text.partition(" (")
    return before, f"({after}"
