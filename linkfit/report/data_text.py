"""Data use of a billing cycle for a person, from the same record that --json prints."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.wording import amount
from linkfit.units import format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_INFINITY = float("inf")
_N_CAUSES = 12


def data_text(data: Record) -> "list[RenderableType]":
    """Data use of a cycle, the chance of an overrun, when the plan runs out, and the ledger."""
    low, middle, high = (format_size(data[f"{level}_bytes"]) for level in ("p05", "p50", "p95"))
    lines = [f"{middle} in a billing cycle (90 %: {low} to {high})"]
    cap_bytes = data["cap_bytes"]
    if cap_bytes is None:
        lines.append("the plan has no cap")
    else:
        chance = format_share(data["prob_over_cap"])
        lines.append(f"the cap is {format_size(cap_bytes)}; chance to use more: {chance}")
    runs_out = data["runs_out"]
    if cap_bytes is not None and runs_out is not None:
        lines.append(f"runs out after: {_runs_out(runs_out)}")
    ledger = Listing(
        columns=(
            Column(heading="what spends it", prose=True),
            Column(heading="of", prose=True),
            Column(heading="median a cycle", right=True),
        )
    )
    for entry in data["ledger"][:_N_CAUSES]:
        ledger.add(entry["cause"], entry["service"], format_size(entry["p50_bytes"] or 0.0))
    rest = data["ledger"][_N_CAUSES:]
    more = [sentence(f"and {len(rest)} smaller causes (all of them: --json)")] if rest else []
    if data.get("smallest_plan_bytes") is not None:
        plan = format_size(data["smallest_plan_bytes"])
        lines.append(f"a plan of {plan} is overrun in fewer than one cycle in twenty")
    return [heading("Data use"), *bullets(lines), Text(), ledger, *more]


def _runs_out(runs_out: Record) -> str:
    early, middle, late = (runs_out[level] for level in ("p05", "p50", "p95"))
    if early is None:
        return "never, in 19 of 20 cycles"
    return f"{_days(middle)} (90 %: {_days(early)} to {_days(late)})"


def _days(days: float | None) -> str:
    return amount(_INFINITY if days is None else days, "days")
