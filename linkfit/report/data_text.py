"""Data use of a billing cycle for a person, from the same record that --json prints."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.wording import amount, between
from linkfit.units import format_count, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_INFINITY = float("inf")
_N_CAUSES = 12


def data_text(data: Record) -> "list[RenderableType]":
    """Data use of a cycle, the chance of an overrun, when the plan runs out, and the ledger."""
    lines = [f"{size_text(data)} in a billing cycle"]
    cap_bytes = data["cap_bytes"]
    if cap_bytes is None:
        lines.append("the plan has no cap")
    else:
        chance = format_share(data["prob_over_cap"])
        lines.append(f"the cap is {format_size(cap_bytes)}; chance to use more: {chance}")
    runs_out = data["runs_out"]
    if cap_bytes is not None and runs_out is not None:
        lines.append(f"runs out after: {runs_out_text(runs_out)}")
    return [heading("Data use"), *bullets(lines), Text(), *ledger_text(data["ledger"])]


def size_text(sizes: Record) -> str:
    """The median of a record of bytes with its 90 % interval."""
    low, middle, high = (sizes[f"{level}_bytes"] or 0.0 for level in ("p05", "p50", "p95"))
    return f"{format_size(middle)} (90 %: {between(low, high, 'bytes')})"


def ledger_text(ledger: "list[Record]") -> "list[RenderableType]":
    """What spends it, the largest causes first; the smaller ones are counted."""
    listing = Listing(
        columns=(
            Column(heading="what spends it", prose=True),
            Column(heading="of", prose=True),
            Column(heading="5 %", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
        )
    )
    for entry in ledger[:_N_CAUSES]:
        sizes = (format_size(entry[f"{level}_bytes"] or 0.0) for level in ("p05", "p50", "p95"))
        listing.add(entry["cause"], entry["service"], *sizes)
    rest = ledger[_N_CAUSES:]
    more = (
        [sentence(f"and {format_count(len(rest), 'smaller cause')} (all of them: --json)")]
        if rest
        else []
    )
    return [listing, *more]


def runs_out_text(runs_out: Record) -> str:
    """Days into the cycle with their 90 % interval."""
    early, middle, late = (runs_out[level] for level in ("p05", "p50", "p95"))
    if early is None:
        return "never, in 19 of 20 cycles"
    return f"{_days(middle)} (90 %: {_days(early)} to {_days(late)})"


def _days(days: float | None) -> str:
    return amount(_INFINITY if days is None else days, "days")
