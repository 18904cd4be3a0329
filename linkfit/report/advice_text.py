"""The advice for a person, section by section, from the same record that --json prints."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.advice.change import COMMON_PRACTICE, THE_REST
from linkfit.advice.reasons import REFUSED, format_against
from linkfit.forecast.user_limits import MOST_USERS
from linkfit.report.advice_answers import answers_text
from linkfit.report.backlog_text import backlogs_text, easing_lines
from linkfit.report.data_text import data_text
from linkfit.report.listing import Column, Listing, Sentence, apart, bullets, heading, sentence
from linkfit.report.plain import harmless
from linkfit.report.target_bars import target_bars
from linkfit.report.wording import DIRECTION_WORDS, amount, between, chance_text
from linkfit.units import format_duration, format_rate, format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
# the word says it, the colour only helps
_VERDICT_STYLES = {"fits": "green", "fits with changes": "yellow", "does not fit": "red"}
_INFINITY = float("inf")
_N_GAINS = 3
_N_OTHERS = 6
_USUAL_TIME = ": time that 19 of 20 stay within"


def advice_text(record: Record) -> "list[RenderableType]":
    """Answers first, then what they rest on, then what is missing and the cautions."""
    return apart(
        [
            [heading(record["site"]), *link_lines(record["link"])],
            _section("What if", record["what_if"]),
            [
                *verdicts_text(
                    record["services"],
                    record["verdict_reasons"],
                    said=[text for text in (record["plan_reason"], record["hours_up"]) if text],
                    timezone=record["timezone"],
                ),
                *floor_lines(record["link"]),
            ],
            targets_text(record),
            changes_text(record["changes"]),
            answers_text(record),
            target_bars(record["services"]),
            services_text(record["services"]),
            other_changes_text(record["other_changes"]),
            [*data_text(record["data"]), *_with_gap(_plan_easing_lines(record["plan_easing"]))],
            [*backlogs_text(record["backlogs"]), *_with_gap(easing_lines(record["backlogs"]))],
            _section("Not measured", record["missing"]),
            _section("Notes", record["notes"]),
            _section("Before you rely on this", record["cautions"]),
        ]
    )


def _with_gap(lines: Sequence[str]) -> "list[RenderableType]":
    return [Text(), *bullets(lines)] if lines else []


def _plan_easing_lines(easing: Record | None) -> list[str]:
    """What a little more plan would change, and how much would do."""
    if easing is None:
        return []
    chance, low, high = (
        chance_text(easing[f"prob_over_cap{end}"]) for end in ("", "_low", "_high")
    )
    spread = "" if low == chance == high else f" (90 %: {low} to {high})"
    sizes = between(easing["enough_low_bytes"], easing["enough_high_bytes"], "bytes")
    return [
        f"{easing['extra_bytes'] / 1e9:g} GB more plan: chance to use more {chance}{spread}; "
        f"a plan of {amount(easing['enough_bytes'], 'bytes')} (90 %: {sizes}) would do"
    ]


def link_lines(link: Record) -> "list[RenderableType]":
    """The link in one line a direction: what 10 s averages reach."""
    lines = []
    for direction, words in DIRECTION_WORDS.items():
        rates = link[direction]
        if rates["p50_bps"] is None:
            lines.append(f"link {words}: never measured")
            continue
        usual, sure = (format_rate(rates[f"{level}_bps"]) for level in ("p50", "p05"))
        floor = "at least " if rates["lower_bound_only"] else ""
        lines.append(
            f"link {words}, averages of {format_duration(rates['average_s'])}: {floor}{usual} "
            f"half of the time, {floor}{sure} 19 times out of 20"
        )
    spans = {link[name]["average_s"] for name in DIRECTION_WORDS if link[name]["p50_bps"]}
    if spans and min(spans) > 1:
        lines.append(
            "Such averages swing less than the single seconds that linkfit fit shows: their "
            "slow end lies higher."
        )
    return [sentence(line) for line in lines]


def floor_lines(link: Record) -> "list[RenderableType]":
    """What a verdict is worth where a direction was measured by lower bounds only."""
    floors = [name for name in DIRECTION_WORDS if link[name]["lower_bound_only"]]
    if not floors:
        return []
    return [
        Text(),
        sentence(
            f"Of link {' and '.join(floors)} only lower bounds were measured: what fits, fits; "
            "what does not may fit all the same. A test that sends as fast as it can would tell."
        ),
    ]


def verdicts_text(
    services: Sequence[Record],
    reasons: Mapping[str, Record],
    *,
    said: Sequence[str] = (),
    timezone: str = "UTC",
) -> "list[RenderableType]":
    """The answer in short: a service a line, with why it does not simply fit."""
    if not services:
        return []
    listing = Listing(columns=(Column(heading="service", prose=True), Column(heading="verdict"),
                               Column(heading="why", prose=True)))  # fmt: skip
    for service in services:
        why = reasons[service["name"]]["why"]
        listing.add(service["name"], _verdict(service["verdict"]), why)
    lines = [*said, *_settling(reasons, timezone)]
    parts: list[RenderableType] = [heading("Verdicts"), listing]
    return [*parts, Text(), *bullets(lines)] if lines else parts


def _settling(reasons: Mapping[str, Record], timezone: str) -> list[str]:
    """What to measure so that a verdict of "not enough data" becomes another one."""
    command = "linkfit plan-tests LINK" + ("" if timezone == "UTC" else f" --timezone {timezone}")
    services: dict[str, list[str]] = {}
    for name, found in reasons.items():
        if found["open_directions"]:
            first = found["measure"][0] if found["measure"] else "more tests on more days would"
            services.setdefault(first, []).append(name)
    return [
        f"what would settle {', '.join(names)}: {first}; when and how often: {command}"
        for first, names in services.items()
    ]


def _verdict(verdict: str) -> Text:
    return Text(verdict, style=_VERDICT_STYLES.get(verdict, "bold"))


def services_text(services: Sequence[Record]) -> "list[RenderableType]":
    """One block a service: its verdict in words, its tasks, and what is in its way."""
    if not services:
        return []
    parts: list[RenderableType] = [heading("Services at the busy hour, as the site is")]
    for service in services:
        n_users = service["n_users"]
        users = "1 user" if n_users == 1 else f"{n_users} users"
        name = harmless(f"{service['name']} ({service['kind']}, {users})")
        title = Text.assemble((name, "bold"), ": ", _verdict(service["verdict"]))
        parts += [Text(), Sentence(text=title), Text()]
        parts += [_tasks(service["tasks"]), *bullets(_remarks(service))]
    parts += [
        Text(),
        sentence(
            "out: the server sends (link up); in: the server receives (link down). The target "
            "is for the 95th percentile. In brackets: the 90 % interval on it, wide where the "
            "link was measured little. users: for how many at most the target holds."
        ),
    ]
    return parts


def _tasks(tasks: Sequence[Record]) -> Listing:
    listing = Listing(
        columns=(
            Column(heading="task, flow", prose=True),
            Column(heading="5 %", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
            Column(heading="target", right=True),
            Column(heading="in time", right=True),
            Column(heading="users", right=True),
        )
    )
    for task in tasks:
        target_text = "" if task["target_s"] is None else _seconds(task["target_s"])
        if task["unmeasured"]:
            listing.add(f"{task['name']}, {task['flow']}", "?", "?", "?", target_text, "?", "?")
            continue
        prob, users = task["prob_within_target"], task["max_users"]
        between_text = _seconds_between(task["p95_low_s"], task["p95_high_s"])
        listing.add(
            f"{task['name']}, {task['flow']}",
            *(_seconds(task[key]) for key in ("p05_s", "p50_s")),
            (_seconds(task["p95_s"]), f"({between_text})"),
            target_text,
            "refused" if task["refused"] else "" if prob is None else format_share(prob),
            "" if users is None else f"{users}" + ("+" if users >= MOST_USERS else ""),
        )
    return listing


def _remarks(service: Record) -> list[str]:
    """Why a service does not fit as it is."""
    tasks = service["tasks"]
    remarks = [f"{t['name']} cannot be carried: {t['refused']}" for t in tasks if t["refused"]]
    for direction in sorted({t["unmeasured"] for t in tasks} - {""}):
        names = ", ".join(t["name"] for t in tasks if t["unmeasured"] == direction)
        remarks.append(f"nothing is known of {names}: {direction} was never measured")
    missed = [
        task["name"]
        for task in tasks
        if task["must_carry"]
        and not (task["meets_target"] or task["refused"] or task["unmeasured"])
    ]
    if missed:
        remarks.append(f"misses its target: {', '.join(missed)}")
    if service["works_throttled"] is False:
        remarks.append("would miss its targets once the data plan has run out")
    return remarks


def changes_text(changes: Sequence[Record]) -> "list[RenderableType]":
    """What to change, from what to what, what each moves alone, and what it costs."""
    if not changes:
        return []
    parts: list[RenderableType] = [
        heading("Changes, each with what it does alone"),
        sentence(
            "Times are those that 19 of 20 stay within. Quality lost and work are judged by "
            "common practice; where something else stands behind them, it is named."
        ),
    ]
    for number, change in enumerate(changes, start=1):
        where = f"{change['service']}: " if change["service"] else ""
        title = harmless(f"{number}. {where}{change['what']}")
        step = harmless(f": {change['from']} -> {change['to']}")
        parts += [Text(), Sentence(text=Text.assemble((title, "bold"), step))]
        moved = [gain for gain in change["gain"] if _shown_moved(gain)]
        gains = [f"{_measure(gain)}: {_gain(gain)}" for gain in moved[:_N_GAINS]]
        left = len(moved) - len(gains)
        more = [f"and {left} more (all of them: --json)"] if left > 0 else []
        lines = [*(gains or ["nothing alone, but needed with the others"]), *more]
        lines.append(f"costs: {change['cost']} ({_cost_parts(change['cost_parts'])})")
        parts += bullets(lines, indent=3)
    return parts


def _cost_parts(parts: Record) -> str:
    """Quality and work, and the source of what is not common practice."""
    lost, source = parts["quality_loss_frac"], parts["source"].removesuffix(THE_REST)
    quality = f"{format_share(lost)} of quality, " if lost else ""
    named = "" if source == COMMON_PRACTICE else f"; {source}"
    return f"{quality}{parts['effort_h']:.1f} h of work{named}"


def other_changes_text(changes: Sequence[Record]) -> "list[RenderableType]":
    """Changes that were tried and left out: what each moves most alone, and what it costs."""
    if not changes:
        return []
    listing = Listing(
        columns=(
            Column(heading="change", prose=True),
            Column(heading="moves most, alone", prose=True),
            Column(heading="costs", prose=True),
        )
    )
    for change in changes[:_N_OTHERS]:
        moved = [gain for gain in change["gain"] if _shown_moved(gain)]
        where = f"{change['service']}: " if change["service"] else ""
        listing.add(
            f"{where}{change['what']}: {change['from']} -> {change['to']}",
            f"{_measure(moved[0])}: {_gain(moved[0])}" if moved else "nothing that is measured",
            change["cost"],
        )
    left = len(changes) - len(listing.rows)
    more = [sentence(f"and {left} more (all of them: --json)")] if left > 0 else []
    return [heading("Also tried, left out"), listing, *more]


def targets_text(record: Record) -> "list[RenderableType]":
    """Every target before and after all changes together, and what stays in the way."""
    targets = record["targets"]
    if not targets:
        return []
    changed = bool(record["changes"])
    columns = [Column(heading="target", prose=True), Column(heading="wanted", right=True),
               Column(heading="as it is", right=True)]  # fmt: skip
    if changed:
        columns.append(Column(heading="changed", right=True))
    listing = Listing(columns=(*columns, Column(heading="met")))
    for target in targets:
        cells = [
            _wanted(target),
            *(_against(target, key) for key in ("before", "after")),
        ]
        listing.add(_measure(target), *cells[: 3 if changed else 2],
                    "yes" if target["met_after"] else "NO")  # fmt: skip
    parts: list[RenderableType] = [
        heading("Targets, all changes together" if changed else "Targets"),
        sentence("Times are those that 19 of 20 stay within."),
        listing,
    ]
    if not record["feasible"]:
        sure = "No setting" if record["search"]["exhausted"] else "No setting that was tried"
        parts += [Text(), heading(f"{sure} meets every target. In the way:")]
        parts += bullets(record["in_the_way"])
    return parts


def _wanted(target: Record) -> "str | tuple[str, str]":
    """The target; two lines where the changes move it, as a larger data plan does."""
    now, then = (_value(target[key], target["unit"]) for key in ("target", "target_after"))
    return now if now == then else (now, f"then {then}")


def _measure(moved: Record) -> str:
    """The measure in short: every time here is one that 19 of 20 stay within."""
    text: str = moved["measure"]
    return text.removesuffix(_USUAL_TIME)


def _gain(gain: Record) -> str:
    worse = "" if gain["better"] else " (worse)"
    return f"{_stand(gain, 'before')} -> {_stand(gain, 'after')}{worse}"


def _stand(moved: Record, key: str) -> str:
    """The value of a measure "before" or "after"; in words where the path refuses the task."""
    return REFUSED if moved[f"refused_{key}"] else _value(moved[key], moved["unit"])


def _against(target: Record, key: str) -> str:
    """The same in as many digits as it takes to differ from the target."""
    value, unit = target[key], target["unit"]
    bound = target["target_after" if key == "after" else "target"]
    if value is None or bound is None:
        return _stand(target, key)
    return format_against(value, bound, unit, refused=target[f"refused_{key}"])


def _shown_moved(gain: Record) -> bool:
    """Does the change show in the digits that are printed, and is it no luck of the draw?"""
    if gain["within_noise"]:
        return False
    return _value(gain["before"], gain["unit"]) != _value(gain["after"], gain["unit"])


def _value(value: float | None, unit: str) -> str:
    if unit == "probability":
        return "unknown" if value is None else format_share(value)
    return amount(_INFINITY if value is None else value, unit)


def _section(title: str, sentences: Sequence[str]) -> "list[RenderableType]":
    return [heading(title), *bullets(sentences)] if sentences else []


def _seconds(time_s: float | None) -> str:
    return amount(_INFINITY if time_s is None else time_s, "s")


def _seconds_between(low_s: float | None, high_s: float | None) -> str:
    low = _INFINITY if low_s is None else low_s
    return between(low, _INFINITY if high_s is None else high_s, "s")
