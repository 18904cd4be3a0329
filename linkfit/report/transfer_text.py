"""One transfer for a person: what moves which way, how long, how sure, made of what."""

from typing import TYPE_CHECKING

from rich.text import Text

from linkfit.report.listing import Column, Listing, heading, sentence
from linkfit.report.wording import (
    FLOW_WORDS,
    QUANTILES,
    how_sure,
    quantile_texts,
)
from linkfit.units import format_duration, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.forecast.draws import Forecast

_NAMES = ("5 % (a lucky moment)", "50 % (median)", "95 % (an unlucky moment)")


def transfer_text(
    forecast: "Forecast",
    *,
    size_bytes: float,
    flow: str,
    by_s: float | None = None,
    hour: float | None = None,
    starts_now: bool = False,
) -> "list[RenderableType]":
    """Everything that is said of one transfer; the arguments are those of `transfer_record`."""
    listing = Listing(
        columns=(
            Column(heading="percentile"),
            Column(heading="time", right=True),
            Column(heading="sure to be within", right=True),
        )
    )
    for name, level, text in zip(_NAMES, QUANTILES, quantile_texts(forecast), strict=True):
        listing.add(name, text, how_sure(forecast, level))
    lines: list[RenderableType] = [
        heading(f"{format_size(size_bytes)} {FLOW_WORDS[flow]}{_start(hour, starts_now)}"),
        Text(),
        listing,
        Text(),
        sentence(
            "The last column is the 90 % interval on each percentile: it is wide where the link "
            "was measured little."
        ),
    ]
    if forecast.parts:
        parts = ", ".join(f"{name} {_part(value)}" for name, value in forecast.parts.items())
        lines.append(sentence(f"The median is made of: {parts}."))
    if forecast.width:
        shares = ", ".join(f"{name} {format_share(part)}" for name, part in forecast.width.items())
        lines.append(sentence(f"The spread is made of: {shares}."))
    if by_s is not None:
        # what all drawn futures do is no certainty
        chance = format_share(min(max(forecast.prob_within(by_s), 0.001), 0.999))
        lines += [Text(), sentence(f"Chance to end within {format_duration(by_s)}: {chance}.")]
    return lines


def _start(hour: float | None, starts_now: bool) -> str:
    """When it starts, where that is not at any time."""
    clock = "" if hour is None else f" at {int(hour)}:{round(hour % 1 * 60):02d}"
    if starts_now:
        return f", starting now{clock}"
    return f", starting{clock}" if clock else ""


def _part(part_s: float) -> str:
    return format_duration(part_s) if part_s >= 0.0005 else "0 s"
