"""The answers that can be compared: cheapest, quality kept, and cost against targets met."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.record_numbers import number
from linkfit.units import format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.advice.advise import Advice
    from linkfit.advice.answers import Answer

Record = Mapping[str, Any]
_N_MISSED = 3


def answers_record(advice: "Advice") -> dict[str, Any]:
    """The three answers as they stand in the record of the advice."""
    return {
        "answers": {
            "cheapest": _answer(advice.cheapest),
            "quality_kept": _answer(advice.quality_kept),
            "cost_against_targets": [_answer(one) for one in advice.front],
        }
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
        "money": number(answer.money_cost),
        "worst_loss_frac": number(answer.worst_loss_frac),
        "changes": [
            {
                "what": change.what,
                "service": change.service,
                "setting": change.setting,
                "from": change.before_text,
                "to": change.after_text,
            }
            for change in answer.changes
        ],
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
            Column(heading="cost", right=True),
        )
    )
    best = "cheapest that meets all" if cheapest["feasible"] else "closest to all targets"
    listing.add(best, *_cells(cheapest))
    front = answers["cost_against_targets"]
    if front and front[-1]["n_met"] > cheapest["n_met"]:
        listing.add("most targets met", *_cells(front[-1]))
        best_note = [sentence("closest: misses by least over all targets together, which is not "
                              "the set that meets most of them.")]  # fmt: skip
    else:
        best_note = []
    listing.add("no quality given up", *_cells(kept))
    parts: list[RenderableType] = [heading("Answers to choose from"), listing, *best_note]
    parts += _kept_text(cheapest, kept)
    parts += _front_text(front)
    parts += bullets(
        [_search_line(record["search"], "cheaper" if cheapest["feasible"] else "closer")]
    )
    return parts


def _cells(answer: Record) -> tuple[str, ...]:
    return (
        f"{answer['n_met']} of {answer['n_targets']}",
        str(len(answer["changes"])),
        format_share(answer["worst_loss_frac"]) if answer["worst_loss_frac"] else "none",
        f"{answer['effort_h']:.1f} h",
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


def _front_text(front: Sequence[Record]) -> "list[RenderableType]":
    """How far each amount of cost gets, one line a set: what it adds to the line before."""
    if len(front) < 2:
        return []
    listing = Listing(
        columns=(
            Column(heading="targets met", right=True),
            Column(heading="cost", right=True),
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
            "; ".join([*added, *dropped]) or "the site as it is",
        )
        before = steps
    explained = sentence(
        "How far each cost gets. One point of cost: an hour of work, a tenth of a service's "
        "quality, or ten units of money a month. Quality lost: of the service that loses most."
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
