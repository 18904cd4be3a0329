"""The answers first: a verdict a service, what to change, and what the changes bring and cost."""

from typing import TYPE_CHECKING

import numpy as np

from linkfit.advice.verdict import verdict_reason
from linkfit.forecast.outcomes import ServiceForecast, TaskForecast
from linkfit.forecast.world_intervals import Estimate, over_worlds
from linkfit.report.money import money_text
from linkfit.report.page.blocks import (
    Block,
    Bullets,
    Paragraph,
    Section,
    Table,
    Verdict,
    Verdicts,
)
from linkfit.report.page.moves import move_text, shown_moves, stand_text, wanted_text
from linkfit.report.page.rounding import late_end, said, share_range
from linkfit.units import format_count, format_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from linkfit.report.page.material import Material

_N_GAINS = 3


def verdict_section(found: "Material") -> Section:
    """A line a service."""
    advice = found.advice
    fits = sum(verdict == "fits" for verdict in advice.verdicts.values())
    helped = sum(verdict == "fits with changes" for verdict in advice.verdicts.values())
    n = len(advice.verdicts)
    lead = (
        f"Of {format_count(n, 'service')}, {fits} fit as they are and {helped} more with the "
        f"changes below, {n - fits - helped} do not or cannot be judged. A service fits when 19 of "
        "20 cases of each task it promises are in time in the busy hour, and when it gets "
        "through the billing cycle."
    )
    pairs = zip(advice.before.services, advice.after.services, strict=True)
    rows = tuple(_verdict(found, old, new) for old, new in pairs)
    reading = (
        "In time: share of cases of the service's slowest promised task that meet its target, "
        "with the 90 % interval that comes from having measured the link no more than this."
    )
    plan_reason = found.record["plan_reason"]
    hours_up = found.record["hours_up"]
    texts = [reading]
    if plan_reason:
        texts.append(f"What {plan_reason}.")
    if hours_up:
        texts.append(f"{hours_up[0].upper()}{hours_up[1:]}.")
    blocks: list[Block] = [Paragraph(text=lead), Verdicts(rows=rows)]
    blocks += [Paragraph(text=text) for text in texts]
    return Section(key="verdicts", title="Which services fit", part="answers",
                   blocks=tuple(blocks))  # fmt: skip


def _verdict(found: "Material", old: ServiceForecast, new: ServiceForecast) -> Verdict:
    name = old.service.name
    verdict = found.advice.verdicts[name]
    slow = slowest(old)
    later = slowest(new)
    now, then = in_time(slow), in_time(later)
    if slow is not None and slow.unmeasured:
        line = f"{slow.task.name} needs the link {slow.unmeasured}, which was never measured."
    elif slow is None or slow.task.target_s is None:
        line = "It promises nothing by a certain time."
    elif slow.refused:
        line = f"{slow.task.name} cannot be carried: {slow.refused}."
    else:
        line = (
            f"{slow.task.name}: 19 of 20 within {late_end(slow.time)}, "
            f"wanted {said(slow.task.target_s, 's')}."
        )
    why = verdict_reason(name, found.advice.before)
    if why:
        line += f" As it is: {why}."
    if verdict == "fits with changes" and later is not None and not later.unmeasured:
        line += f" With the changes {later.task.name} takes {late_end(later.time)}."
    return Verdict(
        service=name,
        verdict=verdict,
        chance=_chance(slow, now, then if verdict == "fits with changes" else None),
        line=line,
        now_frac=None if now is None else now.value,
        then_frac=None if then is None else then.value,
    )


def _chance(slow: TaskForecast | None, now: Estimate | None, then: Estimate | None) -> str:
    """How much of it is in time, as it is and with the changes."""
    if now is None:
        return "not known" if slow is not None and slow.unmeasured else "no target"
    refused = slow is not None and slow.refused
    text = "refused by the path" if refused else f"{share_range(now)} in time"
    return text if then is None else f"{text}; with the changes {share_range(then)} in time"


def slowest(of_service: ServiceForecast) -> TaskForecast | None:
    """The promised task that is furthest from being in time; None without any."""
    promised = [one for one in of_service.tasks if one.task.must_carry]

    def standing(one: TaskForecast) -> tuple[bool, float]:
        prob = 1.0 if one.prob_within_target is None else one.prob_within_target
        return not (one.refused or one.unmeasured), prob

    return min(promised, key=standing, default=None)


def in_time(forecast: TaskForecast | None) -> Estimate | None:
    """Share of cases within the target with its interval; None where there is nothing to say."""
    if forecast is None or forecast.unmeasured or forecast.task.target_s is None:
        return None
    if forecast.refused:
        return Estimate(value=0.0, low=0.0, high=0.0)
    target_s, draws = forecast.task.target_s, forecast.time.draws

    def share(rows: "NDArray[np.int64]") -> float:
        return float(np.mean(draws[rows] <= target_s))

    return over_worlds(forecast.time.world, share)


def changes_section(found: "Material") -> Section:
    """The chosen changes with what each moves alone and costs, and all targets before and after."""
    record = found.record
    blocks: list[Paragraph | Table | Bullets] = []
    if not record["changes"]:
        text = "Nothing needs to be changed." if record["feasible"] else "No change helps."
        blocks.append(Paragraph(text=text))
    else:
        blocks += [Paragraph(text=_changes_lead(found)), _changes_table(found)]
    if record["in_the_way"]:
        blocks.append(Paragraph(text="No setting that was tried meets every target. In the way:"))
        blocks.append(Bullets(items=tuple(record["in_the_way"])))
    if record["targets"]:
        blocks.append(_targets_table(found))
    if record["other_changes"]:
        blocks.append(_others_table(found))
    return Section(
        key="changes", title="What to change, and what it costs", part="answers",
        blocks=tuple(blocks),
    )  # fmt: skip


def _changes_lead(found: "Material") -> str:
    best = found.record["answers"]["cheapest"]
    kept = found.record["answers"]["quality_kept"]
    loss = format_share(best["worst_loss_frac"]) if best["worst_loss_frac"] else "none"
    money = money_text(best["money"], best["money_once"], found.record["currency"])
    paid = "" if money == "none" else f" and {money}"
    return (
        f"The cheapest set found: {format_count(len(best['changes']), 'change')}, which meet "
        f"{best['n_met']} of {best['n_targets']} targets with about {best['effort_h']:.1f} h of "
        f"work{paid}; quality lost by the service that loses most: {loss}. Without any loss of "
        f"quality {kept['n_met']} of {kept['n_targets']} targets can be met."
    )


def _changes_table(found: "Material") -> Table:
    rows = []
    for change in found.record["changes"]:
        where = f"{change['service']}: " if change["service"] else ""
        moved = shown_moves(change["gain"])
        gains = "; ".join(move_text(gain) for gain in moved[:_N_GAINS])
        rows.append(
            (
                f"{where}{change['what']}",
                change["from"],
                change["to"],
                gains or "nothing alone, but needed with the others",
                change["cost"],
            )
        )
    return Table(
        caption="Chosen changes, each with what it moves most when made alone",
        header=("change", "now", "then", "moves, alone", "costs"),
        rows=tuple(rows),
    )


def _targets_table(found: "Material") -> Table:
    rows = tuple(
        (
            str(target["measure"]).removesuffix(": time that 19 of 20 stay within"),
            wanted_text(target),
            stand_text(target, "before"),
            stand_text(target, "after"),
            "yes" if target["met_after"] else "NO",
        )
        for target in found.record["targets"]
    )
    return Table(
        caption="Targets before and after all changes together; times are those that 19 of 20 "
        "stay within",
        header=("target", "wanted", "as it is", "changed", "met"),
        rows=rows,
        numeric=(1, 2, 3),
    )


def _others_table(found: "Material") -> Table:
    rows = []
    for change in found.record["other_changes"][:12]:
        where = f"{change['service']}: " if change["service"] else ""
        moved = shown_moves(change["gain"])
        rows.append(
            (
                f"{where}{change['what']}",
                f"{change['from']} to {change['to']}",
                move_text(moved[0]) if moved else "nothing that is measured",
                change["cost"],
            )
        )
    return Table(
        caption="Also tried, not needed",
        header=("change", "step", "moves most, alone", "costs"),
        rows=tuple(rows),
    )
