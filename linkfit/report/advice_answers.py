"""The answers that can be compared: cheapest, quality kept, and cost against targets met."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.money import money_text
from linkfit.report.record_numbers import number
from linkfit.units import format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.advice.advise import Advice
    from linkfit.advice.answers import Answer
    from linkfit.advice.change import Change
    from linkfit.site.prices import Prices

Record = Mapping[str, Any]
_N_MISSED = 3


def answers_record(advice: "Advice") -> dict[str, Any]:
    """The three answers as they stand in the record, and purchases that none of them makes."""
    prices = advice.before.site.prices
    return {
        "answers": {
            "cheapest": _answer(advice.cheapest),
            "quality_kept": _answer(advice.quality_kept),
            "cost_against_targets": [_answer(one) for one in advice.front],
            "offered": [
                {**_step(change), "why_not": _why_not(change, prices)} for change in advice.offered
            ],
        }
    }


def _why_not(change: "Change", prices: "Prices") -> str:
    """Why a purchase that would help stands in no answer."""
    money = money_text(change.cost.month_cost, change.cost.once_cost, prices.currency)
    limit, most = (
        ("most_once", prices.most_once_cost)
        if change.cost.month_cost == 0
        else ("most_per_month", prices.most_month_cost)
    )
    if change.cost.month_cost is None or change.cost.once_cost is None:
        return f"{money} in [prices] of the site file"
    if most is None:
        return f"{money}, and [prices] of the site file allows no {limit}"
    return f"{money}, more than {limit} allows"


def _step(change: "Change") -> dict[str, Any]:
    return {
        "what": change.what,
        "service": change.service,
        "setting": change.setting,
        "from": change.before_text,
        "to": change.after_text,
    }


def _answer(answer: "Answer") -> dict[str, Any]:
    return {
        "n_met": answer.n_met,
        "n_targets": answer.n_targets,
        "feasible": answer.feasible,
        "search_exhausted": answer.exhausted,
        "in_the_way": list(answer.in_the_way),
        "cost_points": number(answer.cost),
        "effort_h": number(answer.effort_h),
        "money": number(answer.month_cost),
        "money_once": number(answer.once_cost),
        "worst_loss_frac": number(answer.worst_loss_frac),
        "changes": [_step(change) for change in answer.changes],
    }


def answers_text(record: Record) -> "list[RenderableType]":
    """The answers side by side, then what each step on the way adds; nothing without changes."""
    answers = record["answers"]
    cheapest, kept = answers["cheapest"], answers["quality_kept"]
    if not cheapest["changes"]:
        return []
    listing = Listing(
        columns=(
            Column(heading="answer", prose=True),
            Column(heading="targets met", right=True),
            Column(heading="changes", right=True),
            Column(heading="quality lost", right=True),
            Column(heading="work", right=True),
            Column(heading="money", right=True),
            Column(heading="cost", right=True),
        )
    )
    best = "cheapest that meets all" if cheapest["feasible"] else "closest to all targets"
    currency = record["currency"]
    listing.add(best, *_cells(cheapest, currency))
    front = answers["cost_against_targets"]
    if front and front[-1]["n_met"] > cheapest["n_met"]:
        listing.add("most targets met", *_cells(front[-1], currency))
        best_note = [sentence("closest: misses by least over all targets together, which is not "
                              "the set that meets most of them.")]  # fmt: skip
    else:
        best_note = []
    listing.add("no quality given up", *_cells(kept, currency))
    parts: list[RenderableType] = [heading("Answers to choose from"), listing, *best_note]
    parts += _kept_text(cheapest, kept)
    parts += _front_text(front, currency)
    offered = [
        f"in no answer: {_named(one)}: {one['from']} -> {one['to']}, which alone would do; "
        f"{one['why_not']}"
        for one in answers["offered"]
    ]
    parts += bullets(
        [*offered, _search_line(record["search"], "cheaper" if cheapest["feasible"] else "closer")]
    )
    return parts


def _cells(answer: Record, currency: str) -> tuple[str, ...]:
    return (
        f"{answer['n_met']} of {answer['n_targets']}",
        str(len(answer["changes"])),
        format_share(answer["worst_loss_frac"]) if answer["worst_loss_frac"] else "none",
        f"{answer['effort_h']:.1f} h",
        money_text(answer["money"], answer["money_once"], currency),
        f"{answer['cost_points']:.1f}",
    )


def _kept_text(cheapest: Record, kept: Record) -> "list[RenderableType]":
    """What the answer without loss of quality is, where it is another one."""
    if kept["changes"] == cheapest["changes"]:
        return []
    if not kept["changes"]:
        return [sentence("Without giving up quality: no change helps.")]
    lines = [f"{_named(change)}: {change['from']} -> {change['to']}" for change in kept["changes"]]
    in_the_way = kept["in_the_way"]
    missed = [f"still missed: {text}" for text in in_the_way[:_N_MISSED]]
    left = len(in_the_way) - len(missed)
    if left > 0:
        missed.append(f"and {left} more still missed (all of them: --json)")
    return [sentence("Without giving up quality:"), *bullets([*lines, *missed], indent=2)]


def _front_text(front: Sequence[Record], currency: str) -> "list[RenderableType]":
    """How far each amount of cost gets, one line a set: what it adds to the line before."""
    if len(front) < 2:
        return []
    # most sites buy nothing: a column of "none" would only take room
    buys = any(answer["money"] != 0 or answer["money_once"] != 0 for answer in front)
    listing = Listing(
        columns=(
            Column(heading="targets met", right=True),
            Column(heading="cost", right=True),
            *([Column(heading="money", right=True)] if buys else []),
            Column(heading="compared with the line before", prose=True),
        )
    )
    before: list[str] = []
    for answer in front:
        steps = [f"{_named(change)}: {change['to']}" for change in answer["changes"]]
        added = [f"+ {step}" for step in steps if step not in before]
        dropped = [f"without {step}" for step in before if step not in steps]
        listing.add(
            f"{answer['n_met']} of {answer['n_targets']}",
            f"{answer['cost_points']:.1f}",
            *([money_text(answer["money"], answer["money_once"], currency)] if buys else []),
            "; ".join([*added, *dropped]) or "the site as it is",
        )
        before = steps
    explained = sentence(
        "How far each cost gets. One point of cost: an hour of work, or a tenth of a service's "
        "quality. Quality lost: of the service that loses most. Money is no part of it: it is "
        "spent only as far as [prices] of the site file allows."
    )
    return [explained, listing]


def _named(change: Record) -> str:
    service, what = change["service"], str(change["what"])
    return f"{service}: {what}" if service and service not in what else what


def _search_line(search: Record, better: str) -> str:
    gap = "" if not search["gap_frac"] or search["gap_frac"] < 1e-6 else (
        f", the choice proved to within {format_share(search['gap_frac'])}"
    )  # fmt: skip
    cut = search["n_cut_short"]
    late = f"; {cut} choices ran out of their {search['time_limit_s']:g} s" if cut else ""
    done = "" if search["exhausted"] else f"; a {better} set may exist"
    return f"{search['n_evaluations']} sets of changes were evaluated in full{gap}{late}{done}"
