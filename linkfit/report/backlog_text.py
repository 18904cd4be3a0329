"""Backlogs for a person: when each is done and what holds it back."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, heading
from linkfit.report.wording import amount
from linkfit.units import format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_INFINITY = float("inf")


def backlogs_text(backlogs: Sequence[Record]) -> "list[RenderableType]":
    """When each backlog is done and what holds it back."""
    if not backlogs:
        return []
    listing = Listing(
        columns=(
            Column(heading="backlog", prose=True),
            Column(heading="5 %", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
            Column(heading="held back by", prose=True),
            Column(heading="by deadline", right=True),
        )
    )
    for backlog in backlogs:
        prob = backlog["prob_by_deadline"]
        if backlog["unmeasured"]:
            listing.add(backlog["name"], "?", "?", "?",
                        f"unknown: {backlog['unmeasured']} was never measured", "?")  # fmt: skip
            continue
        listing.add(
            backlog["name"],
            *(_days(backlog[key]) for key in ("p05_days", "p50_days", "p95_days")),
            backlog.get("refused") or backlog["binding"],
            "" if prob is None else format_share(prob),
        )
    return [heading("Backlogs, from their start to done"), listing]


def _days(days: float | None) -> str:
    return amount(_INFINITY if days is None else days, "days")
