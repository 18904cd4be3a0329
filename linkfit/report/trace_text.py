"""What `linkfit inspect` says of measurements: read, repaired, covered, missing, misleading."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from rich.text import Text

from linkfit.ingest.summary import (
    HOURS,
    LatencySummary,
    Quantiles,
    ThroughputSummary,
    TraceSummary,
    TransferSummary,
)
from linkfit.ingest.trace import Finding, Repair
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.option_words import as_options
from linkfit.report.wording import DIRECTION_WORDS, amount
from linkfit.units import format_count, format_duration, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

_N_SOURCES_NAMED = 3
# seconds measured in an hour of the day, and the sign that stands for as many
_N_ALIKE = 2
_SIGNS = ((600.0, "#"), (60.0, "+"), (0.0, "-"))
_WHAT = Column(heading="what", prose=True)
_QUANTILE_COLUMNS = tuple(Column(heading=text, right=True) for text in ("5 %", "median", "95 %"))


def trace_text(summary: TraceSummary) -> "list[RenderableType]":
    """Everything that is said of measurements."""
    return apart(
        [
            _read(summary),
            [_figures(summary)] if _has_figures(summary) else [],
            _coverage(summary.throughput),
            _gaps(summary.throughput),
            _notes("Repaired while reading", summary.repairs),
            _notes("Mind", summary.findings),
        ]
    )


def _has_figures(summary: TraceSummary) -> bool:
    return bool(summary.throughput or summary.latency or summary.transfers)


def _read(summary: TraceSummary) -> "list[RenderableType]":
    formats = ", ".join(f"{count} x {name}" for name, count in summary.formats)
    plural = "" if summary.n_sources == 1 else "s"
    lines = [f"{summary.n_sources} source{plural} read: {formats}"]
    if summary.peers:
        named = ", ".join(summary.peers[:_N_SOURCES_NAMED])
        more = len(summary.peers) - _N_SOURCES_NAMED
        lines.append(f"far ends: {named}" + (f" and {more} more" if more > 0 else ""))
    if summary.span_s is not None:
        first, last = map(_day, summary.span_s)
        lines.append(f"measured from {first} to {last} UTC")
        if summary.n_unclocked:
            without = format_count(summary.n_unclocked, "source")
            lines.append(f"{without} without a time of day, which count for no hour and no day")
    elif not summary.has_clock:
        lines.append("no time of day in any file: hours and days cannot be told apart")
    return [heading("What was read"), *bullets(lines)]


def _day(time_s: float) -> str:
    return datetime.fromtimestamp(time_s, UTC).strftime("%Y-%m-%d %H:%M")


def _figures(summary: TraceSummary) -> Listing:
    listing = Listing(columns=(_WHAT, Column(heading="samples", right=True), *_QUANTILE_COLUMNS))
    for rates in summary.throughput:
        name = f"rate {DIRECTION_WORDS[rates.direction]}, {format_duration(rates.measured_s)}"
        listing.add(name, f"{rates.n_samples}", *_rates(rates.rate_bps))
    for latency in summary.latency:
        listing.add(_latency_name(latency), f"{latency.n_probes}", *_times(latency.rtt_s))
    for transfers in summary.transfers:
        listing.add(*_transfer_cells(transfers))
    return listing


def _latency_name(latency: LatencySummary) -> str:
    state = "busy" if latency.loaded else "idle"
    return f"round trip, {state} link, {100 * latency.loss_frac:.2g} % lost"


def _transfer_cells(transfers: TransferSummary) -> tuple[str, ...]:
    sizes = transfers.size_bytes
    span = f"{format_size(sizes.p05)} to {format_size(sizes.p95)}"
    name = f"transfers {DIRECTION_WORDS[transfers.direction]}, {span}: rate"
    return name, f"{transfers.n_transfers}", *_rates(transfers.rate_bps)


def _rates(quantiles: Quantiles) -> list[str]:
    return [format_rate(value) for value in quantiles.values]


def _times(quantiles: Quantiles) -> list[str]:
    return [amount(value, "s") if math.isfinite(value) else "lost" for value in quantiles.values]


def _coverage(throughput: Sequence[ThroughputSummary]) -> "list[RenderableType]":
    known = [rates for rates in throughput if rates.coverage_s is not None]
    if not known:
        return []
    parts: list[RenderableType] = [heading("Measured at which hour of the day (UTC)")]
    parts.append(Text("     0     6     12    18    24"))
    for rates in known:
        signs = "".join(_sign(seconds) for seconds in rates.coverage_s or ())
        parts.append(Text(f"{rates.direction:<5}{signs}|"))
    parts.append(sentence(". never, - below a minute, + below ten minutes, # more"))
    for rates in known:
        never = [hour for hour, seconds in enumerate(rates.coverage_s or ()) if seconds == 0]
        if never:
            text = f"{rates.direction}: never measured at {hours_text(never)}"
            parts += bullets([text])
    return parts


def _sign(measured_s: float) -> str:
    if measured_s == 0:
        return "."
    return next(sign for least_s, sign in _SIGNS if measured_s >= least_s)


def hours_text(hours: Sequence[int]) -> str:
    """Hours of the day as stretches: ``[0, 1, 2, 22]`` is "0-3 h, 22-23 h"."""
    stretches: list[list[int]] = []
    for hour in sorted(hours):
        if stretches and stretches[-1][1] == hour:
            stretches[-1][1] = hour + 1
        else:
            stretches.append([hour, hour + 1])
    if stretches == [[0, HOURS]]:
        return "any hour"
    return ", ".join(f"{first}-{last} h" for first, last in stretches)


def _gaps(throughput: Sequence[ThroughputSummary]) -> "list[RenderableType]":
    lines = []
    for rates in throughput:
        if rates.n_gaps:
            lines.append(
                f"{rates.direction}: {format_count(rates.n_gaps, 'gap')} inside files, "
                f"{format_duration(rates.gaps_s)} added up over all files, the longest "
                f"{format_duration(rates.longest_gap_s)}"
            )
        bounds = rates.n_samples - rates.n_saturating
        if bounds:
            lines.append(
                f"{rates.direction}: {bounds} of {rates.n_samples} samples did not try for all "
                "they could get: lower bounds on the link"
            )
        if rates.zero_frac:
            lines.append(f"{rates.direction}: {format_share(rates.zero_frac)} of samples carry 0")
    return [heading("Gaps and zeros"), *bullets(lines)] if lines else []


def _notes(title: str, notes: "Sequence[Repair | Finding]") -> "list[RenderableType]":
    """Notes by kind: the first few of each in full, then how many more files say the same."""
    by_kind: dict[str, list[Repair | Finding]] = {}
    for note in notes:
        by_kind.setdefault(note.kind, []).append(note)
    lines = []
    for kind, alike in by_kind.items():
        lines += [
            as_options(f"{_short(note.source)}: {note.text.removeprefix(f'{note.source}: ')}")
            for note in alike[:_N_ALIKE]
        ]
        left = len(alike) - _N_ALIKE
        if left > 0:
            lines.append(f"{kind}: {left} more (all of them: --json)")
    return [heading(title), *bullets(lines)] if lines else []


def _short(source: str) -> str:
    """The file's own name: long folders drown the message."""
    return source.replace("\\", "/").rsplit("/", 1)[-1] or source
