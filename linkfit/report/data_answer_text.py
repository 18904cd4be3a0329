"""What ``linkfit data`` answers, for a person, from the same record that --json prints."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from linkfit.advice.reasons import format_against
from linkfit.forecast.data_answer import GIB_PER_GB
from linkfit.forecast.data_savings import LOCAL_NAME
from linkfit.forecast.data_use import RATE_SIGMA, SIZE_SIGMA
from linkfit.report.data_text import ledger_text, runs_out_text, size_text
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.wording import amount, between
from linkfit.units import format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_COUNTED_WORDS = {
    "both": "both directions counted",
    "up": "link up (server to internet) counted alone",
    "down": "link down (internet to server) counted alone",
}
_N_SAVINGS = 8
_SLOWED_NOTE = (
    "alone: everything else is switched off; with the rest: all of the site runs. Times are "
    "those that 19 of 20 stay within, in the busy hour; in brackets the 90 % interval on them."
)
_NORMAL_95 = 1.645


def data_answer_text(record: Record) -> "list[RenderableType]":
    """What was asked first: after the cap, one task; then the cycle, plans, savings, causes."""
    return apart(
        [
            *(_slowed_text(slowed) for slowed in record["slowed"]),
            [sentence(_SLOWED_NOTE)] if record["slowed"] else [],
            _often_text(record["how_often"]),
            _cycle_text(record),
            _plans_text(record),
            _savings_text(record),
            [heading("What spends it, in a cycle"), *ledger_text(record["data"]["ledger"]),
             sentence(_guesses()), *_hours_lines(record["hours_assumed"])],
        ]
    )  # fmt: skip


def _cycle_text(record: Record) -> "list[RenderableType]":
    data, cycle = record["data"], record["cycle"]
    counted = _COUNTED_WORDS[record["plan"]["counted"]]
    title = f"{record['site']}: data of one billing cycle, {counted}"
    lines = [f"wanted: {size_text(data)}; mean {format_size(data['mean_bytes'])}"]
    if cycle is not None and cycle["used_bytes"] is not None:
        lines.insert(0, f"used so far: {format_size(cycle['used_bytes'])} in the first "
                        f"{cycle['elapsed_days']:.3g} of {cycle['days']:.0f} days (since "
                        f"{cycle['start']}); the rest below follows from it")  # fmt: skip
    lines += [*_carried_lines(record), *_cap_lines(record)]
    return [heading(title), *bullets(lines)]


def _carried_lines(record: Record) -> list[str]:
    """What the plan lets through, where that is less than what is wanted."""
    data, plan = record["data"], record["plan"]
    if data["cap_bytes"] is None or plan["price_per_gb"] is not None:
        return []
    if plan["throttle_bps"] is None:
        return [f"carried, the plan stopping at its cap: {size_text(data['carried'])}"]
    rate = format_rate(plan["throttle_bps"])
    if data["carried"] == {key: data[key] for key in data["carried"]}:
        return [f"carried: all of it, though after the cap at no more than {rate}"]
    return [f"carried, the link slowed to {rate} after the cap: at most "
            f"{size_text(data['carried'])}"]  # fmt: skip


def _cap_lines(record: Record) -> list[str]:
    data, chance, gib = record["data"], record["chance"], record["chance_if_gib"]
    if chance is None:
        return ["the plan has no cap"]
    cap = format_size(data["cap_bytes"])
    tether = record["plan"]["tether_bytes"]
    whose = "what a hotspot may use of the plan" if tether == data["cap_bytes"] else "the cap"
    lines = [
        f"{whose} is {cap}; chance to want more: {_chance_text(chance)}",
        f"if your carrier counts 1 GB as 2^30 bytes (1 GiB), it is "
        f"{format_size(data['cap_bytes'] * GIB_PER_GB)}, and the chance {_chance_text(gib)}",
        f"runs out: {_when_text(record)}",
    ]
    kept = record["plan"]["carry_over_bytes"]
    if kept:
        lines.append(f"unused data, at most {format_size(kept)} of it, joins the next cycle: "
                     "counted in")  # fmt: skip
    if data["cost"] is not None:
        low, middle, high = (data["cost"][f"{level}_money"] for level in ("p05", "p50", "p95"))
        lines.append(f"costs above the cap: {middle:.0f} (90 %: {low:.0f} to {high:.0f}), in the "
                     "money of price_per_GB")  # fmt: skip
    return lines


def _chance_text(chance: Record) -> str:
    """A chance with its interval; what all drawn cycles do is no certainty."""
    keys = ("prob_over", "prob_over_low", "prob_over_high")
    value, low, high = (format_share(min(max(chance[key], 0.001), 0.999)) for key in keys)
    interval = low if low == high else f"{low.removesuffix(' %')} to {high}"
    return f"{value} (90 %: {interval})"


def _when_text(record: Record) -> str:
    """The date on which the plan runs out, or days into the cycle where no date was told."""
    cycle = record["cycle"]
    if cycle is None:
        days = runs_out_text(record["data"]["runs_out"])
        return days if days.startswith("never") else f"{days} into the cycle; dates: --on DAY"
    if cycle["used_up"]:
        return "the cap is used up already"
    early, middle, late = (cycle["runs_out_on"][level] for level in ("p05", "p50", "p95"))
    if early is None:
        return "not in this cycle, 19 times out of 20"
    most = "not in this cycle"
    return f"on {middle or most} (90 %: {early} to {late or most}; {cycle['timezone']})"


def _hours_lines(assumed: str) -> "list[RenderableType]":
    """Which sun the hours rest on, where one does."""
    return [sentence(f"{assumed[0].upper()}{assumed[1:]}.")] if assumed else []


def _guesses() -> str:
    """How well stated rates and sizes are taken to be known."""
    rate, size = (math.exp(_NORMAL_95 * sigma) for sigma in (RATE_SIGMA, SIZE_SIGMA))
    return (
        f"What you state counts as a mean that may be off, nine times in ten by less than a "
        f"factor of {rate:.1f} for how often and {size:.1f} for how large: guesses that a few "
        "weeks of counting would replace (--used, --on)."
    )


def _savings_text(record: Record) -> "list[RenderableType]":
    unasked, savings = record["unasked"], record["savings"]
    share = (unasked["mean_bytes"] or 0.0) / max(record["data"]["mean_bytes"] or 0.0, 1.0)
    lines = [f"nobody asked for {size_text(unasked)} of a cycle, {format_share(share)} of the mean"]
    for saving in savings[:_N_SAVINGS]:
        what = f"switch off {saving['what']}"
        if saving["kind"] == LOCAL_NAME:
            what = "a local name, so that clients on the same link do not go out and back"
        lines.append(f"{what}: saves {size_text(saving)}")
    left = len(savings) - _N_SAVINGS
    if left > 0:
        lines.append(f"and {left} smaller ones (all of them: --json)")
    return [heading("What can go"), *bullets(lines)]


def _plans_text(record: Record) -> "list[RenderableType]":
    sizes = record["plan_sizes"]
    interval = between(sizes["exact_low_bytes"], sizes["exact_high_bytes"], "bytes")
    lines = [f"{format_size(sizes['exact_bytes'])} ({interval}) is enough in 19 of 20 cycles"]
    for key in ("below", "enough"):
        chance = sizes[key]
        if chance is not None:
            lines.append(f"a plan of {format_size(chance['cap_bytes'])}, a usual size: chance to "
                         f"want more than that {_chance_text(chance)}")  # fmt: skip
    if sizes["enough"] is None:
        lines.append("no usual size is enough")
    return [heading("Which plan lasts"), *bullets(lines)]


def _often_text(often: Record | None) -> "list[RenderableType]":
    if often is None:
        return []
    lines = [f"each time uses {size_text(often['one'])}"]
    lines += [f"besides all the rest: {_room_text(often['besides'])}",
              f"with nothing else: {_room_text(often['alone'])}"]  # fmt: skip
    lines.append(f"the site file has it {_times(often['now_per_day'])}")
    title = (f"How often, all users, in {often['days']:.3g} days: {often['task']} "
             f"({often['service']})")  # fmt: skip
    return [heading(title), *bullets(lines)]


def _room_text(times: Record) -> str:
    """How often 19 of 20 cycles bear it, with its interval."""
    if times["p95_per_day"] == 0:
        return "not once, the plan runs out anyway"
    if times["p05_per_day"] == 0:
        return (f"not once in 19 of 20 cycles; in half of them {_times(times['p50_per_day'])}"
                if times["p50_per_day"] else "not once in half of the cycles")  # fmt: skip
    low, high = _times(times["p05_low_per_day"]), _times(times["p05_high_per_day"])
    number, _, unit = low.partition(" ")
    ends = f"{number} to {high}" if high.endswith(f" {unit}") else f"{low} to {high}"
    return (f"{_times(times['p05_per_day'])} (90 %: {low if low == high else ends}), and the plan "
            "lasts in 19 of 20 cycles")  # fmt: skip


def _times(per_day: float | None) -> str:
    """How often, in whole times: a day, or a month where it is rarer."""
    if per_day is None:
        return "without limit"
    if per_day >= 1:
        return f"{per_day:.3g} times a day" if per_day < 1000 else f"{per_day:,.0f} times a day"
    if per_day <= 0:
        return "never"
    per_month = f"{per_day * 30:.2g}"
    return "once in 30 days" if per_month == "1" else f"{per_month} times in 30 days"


def _slowed_text(slowed: Record) -> "list[RenderableType]":
    listing = Listing(
        columns=(
            Column(heading="service", prose=True),
            Column(heading="alone"),
            Column(heading="with the rest"),
            Column(heading="slowest against its target, alone", prose=True),
        )
    )
    for service in slowed["services"]:
        listing.add(
            service["name"],
            _works(service["works_alone"], service["alone"]),
            _works(service["works_together"], service["together"]),
            _slowest(service["alone"]),
        )
    title = f"Slowed to {format_rate(slowed['rate_bps'])} each way"
    return [heading(title), sentence(_slowed_short(slowed["services"])), listing]


def _slowed_short(services: "list[Record]") -> str:
    """Which services work with the rest, and which only alone."""
    names = {
        "work with all the rest running": [s["name"] for s in services if s["works_together"]],
        "work alone": [s["name"] for s in services if s["works_alone"] and not s["works_together"]],
    }
    parts = [f"{verb}: {', '.join(found)}" for verb, found in names.items() if found]
    return "; ".join(parts) or "no service works, not even alone"


def _works(works: bool | None, tasks: "list[Record]") -> str:
    """The verdict; where it is no, how many of the promised tasks work all the same."""
    if works is None:
        return "unknown"
    n_good = sum(task["meets_target"] for task in tasks)
    if works or not n_good:
        return "works" if works else "does not"
    return f"{n_good} of {len(tasks)} tasks"


def _slowest(tasks: "list[Record]") -> str:
    """The promised task that is furthest over its target, with its time and the target."""
    promised = [task for task in tasks if task["target_s"] is not None]
    if not promised:
        return "nothing promised"
    for task in promised:
        if task["refused"] or task["unmeasured"]:
            why = task["refused"] or f"{task['unmeasured']} was never measured"
            return f"{task['name']}, {task['flow']}: {why}"
    worst = max(promised, key=lambda task: _finite(task["p95_s"]) / task["target_s"])
    time = format_against(_finite(worst["p95_s"]), worst["target_s"], "s")
    interval = between(_finite(worst["p95_low_s"]), _finite(worst["p95_high_s"]), "s")
    return (f"{worst['name']}, {worst['flow']}: {time} ({interval}); "
            f"target {amount(worst['target_s'], 's')}")  # fmt: skip


def _finite(value: float | None) -> float:
    return math.inf if value is None else value
