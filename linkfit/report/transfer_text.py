"""One transfer for a person: what moves which way, how long, how sure, made of what."""

from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.forecast.chances import chance_of
from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.wording import (
    FLOW_WORDS,
    QUANTILES,
    between_chances,
    chance_text,
    how_sure,
    quantile_texts,
)
from linkfit.units import format_duration, format_share, format_size

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

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
    task: "Mapping[str, Any] | None" = None,
    cautions: "Sequence[str]" = (),
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
        heading(f"{_moved(size_bytes, task or {})} {FLOW_WORDS[flow]}{_start(hour, starts_now)}"),
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
        chance = chance_of(forecast.draws <= by_s, forecast.world)
        sure = between_chances(chance.low_prob, chance.high_prob)
        said = f"{chance_text(chance.prob)} (sure to be within {sure})"
        lines += [Text(), sentence(f"Chance to end within {format_duration(by_s)}: {said}.")]
    if cautions:
        lines += [Text(), *bullets(cautions)]
    return lines


def _moved(size_bytes: float, task: "Mapping[str, Any]") -> str:
    """What is moved: "60 requests of 20.0 kB, 6 at once, by QUIC,"."""
    words = format_size(size_bytes)
    if task.get("n_requests", 1) > 1:
        words = f"{task['n_requests']} requests of {words}, {task['n_parallel']} at once,"
    return f"{words} by QUIC" if task.get("transport") == "quic" else words


def _start(hour: float | None, starts_now: bool) -> str:
    """When it starts, where that is not at any time."""
    clock = "" if hour is None else f" at {int(hour)}:{round(hour % 1 * 60):02d}"
    if starts_now:
        return f", starting now{clock}"
    return f", starting{clock}" if clock else ""


def _part(part_s: float) -> str:
    return format_duration(part_s) if part_s >= 0.0005 else "0 s"
