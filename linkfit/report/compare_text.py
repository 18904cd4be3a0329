"""The comparison of links for a person, from the same record that --json prints."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.interval_bar import bar_scale, interval_bar
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.plain import harmless
from linkfit.report.wording import DIRECTION_WORDS, amount, between
from linkfit.units import format_count, format_rate, format_share, format_size

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_ROWS = {"p05": "5 % slower", "p50": "median", "mean": "mean", "p95": "5 % faster"}
_LEVELS = {"p50": "median second", "mean": "mean"}
_NEVER = float("inf")
_N_TASKS = 30
_NAME_LIMIT = 14
_ABOUT_SAME = 1.05
_WITHIN = "the difference is within what one link shows from one day to the next"


def compare_text(record: Record) -> "list[RenderableType]":
    """The answer for each pair, then rates, verdicts, times, chances and what to mind."""
    sections = [_answers(record)]
    if record["site"] is not None:
        sections += [_verdicts(record["links"]), _chances(record)]
    sections += [_rates(pair, record["links"]) for pair in record["pairs"]]
    if record["site"] is not None:
        sections += [_times(pair) for pair in record["pairs"]]
    sections.append(_costs(record["links"], record["pairs"]))
    sections.append([heading("How to read this"), *bullets(_READING)])
    return apart(sections)


_READING = (
    "Real: the records, drawn again in blocks of seconds and moved by what a link drifts from one "
    "day to the next, keep the sign of the difference in all but 5 % of comparisons of one link "
    "with itself, counted over all rows of a kind together.",
    "Below each rate and each difference: its 90 % interval. Rates hold the headers of the IP "
    "layer.",
)


def _answers(record: Record) -> "list[RenderableType]":
    """Is there a difference, and if not, what would tell."""
    site = record["site"]
    title = "Links compared" if site is None else f"Links compared for {site}"
    lines: list[str] = []
    for pair in record["pairs"]:
        lines += _answer(pair)
    cautions = [caution for pair in record["pairs"] for caution in pair["cautions"]]
    return [heading(title), *bullets([*lines, *cautions])]


def _answer(pair: Record) -> list[str]:
    names = f"{pair['second']} against {pair['first']}"
    if pair["difference_is_real"] is None:
        reasons = "; ".join(dict.fromkeys(f"{r['direction']}: {r['why_not']}"
                                          for r in pair["rates"]))  # fmt: skip
        return [f"{names}: no direction can be compared ({reasons})"]
    return [f"{names}, {rates['direction']}: {_direction_answer(rates)}" for rates in pair["rates"]]


def _direction_answer(rates: Record) -> str:
    """Whether one is faster, and if that is not sure, what would tell."""
    if rates["why_not"]:
        return f"not compared, {rates['why_not']}"
    real = [f"the {words} is {_factor(rates[key])}" for key, words in _LEVELS.items()
            if rates[key]["real"]]  # fmt: skip
    if real:
        return f"REAL, {' and '.join(real)}"
    tails = [words for key, words in (("p05", "slow"), ("p95", "fast")) if rates[key]["real"]]
    seen = f"the median second is {_factor(rates['p50'])}, but {_WITHIN}"
    if tails:
        seen += f"; the {' and '.join(tails)} moments do differ"
    return f"NOT REAL: {seen}. {_to_tell(rates['to_tell'])}"


def _factor(row: Record) -> str:
    """How much faster or slower the second link is."""
    first_bps, second_bps = row["first_bps"], row["second_bps"]
    both = f"({format_rate(second_bps)} against {format_rate(first_bps)})"
    if first_bps == second_bps:
        return f"the same {both}"
    word = "faster" if second_bps > first_bps else "slower"
    low, high = sorted((first_bps, second_bps))
    if high < _ABOUT_SAME * low:
        return f"about the same {both}"
    return f"{word} {both}" if low <= 0 else f"{word} by a factor of {_ratio(high / low)} {both}"


def _ratio(ratio: float) -> str:
    """A factor in digits that records can carry."""
    return f"{ratio:.1f}" if ratio < 10 else f"{ratio:.0f}"


def _to_tell(more: Record | None) -> str:
    """What measuring would settle it."""
    if more is None:
        return ""
    ratio = more["ratio"]
    of = (
        f"a difference of {100 * (ratio - 1):.0f} %"
        if ratio < 2
        else f"a factor of {_ratio(ratio)}"
    )
    if more["n_tests"] is None:
        return f"Ten days of measuring nothing else would not show {of}."
    tests = format_count(more["n_tests"], "more test")
    costs = f"{format_size(more['first_bytes'], 2)} and {format_size(more['second_bytes'], 2)}"
    return (
        f"To show {of} between the mean rates in four of five cases: about {tests} of 10 s on "
        f"each, spread over hours and days and taking turns, for {costs} of data."
    )


def _rates(pair: Record, links: list[Record]) -> "list[RenderableType]":
    """A table a direction, with a bar of each link's seconds."""
    parts: list[RenderableType] = []
    by_name = {link["name"]: link["rates"] for link in links}
    for rates in pair["rates"]:
        if rates["why_not"]:
            continue
        if parts:
            parts.append(Text())
        parts.append(heading(f"Link {DIRECTION_WORDS[rates['direction']]}: {_pair_names(pair)}"))
        own = [(pair[key], by_name[pair[key]][rates["direction"]]) for key in ("first", "second")]
        parts += _bars(own)
        listing = Listing(columns=(Column(heading="seconds"), *_name_columns(pair),
                                   Column(heading="difference", right=True),
                                   Column(heading="real")))  # fmt: skip
        for key, words in _ROWS.items():
            row = rates[key]
            ends = row["low_bps"], row["high_bps"]
            listing.add(
                words,
                *(_rate_cell(one[1], key) for one in own),
                (_signed_rate(row["difference_bps"]), _ends(row["difference_bps"], *ends)),
                "yes" if row["real"] else "no",
            )
        parts.append(listing)
    return parts


def _pair_names(pair: Record) -> str:
    return f"{pair['first']}, {pair['second']}"


def _bars(own: list[tuple[str, Record]]) -> "list[RenderableType]":
    """A line a link: where its slow, middle and fast seconds lie."""
    keys = ("p05_bps", "p50_bps", "p95_bps")
    scale = bar_scale(rates[key] for _, rates in own for key in keys)
    if scale is None:
        return []
    lines: list[RenderableType] = [
        Text(f"{interval_bar(scale, *(rates[key] for key in keys))} {_short(name)}", no_wrap=True,
             overflow="ellipsis")
        for name, rates in own
    ]  # fmt: skip
    ends = f"from {format_rate(scale.low, 2)} to {format_rate(scale.high, 2)}, in even factors"
    return [*lines, sentence(f"-o-: 5 %, median, 95 % of seconds, {ends}"), Text()]


def _name_columns(pair: Record) -> tuple[Column, Column]:
    first, second = (Column(heading=_short(pair[key]), right=True) for key in ("first", "second"))
    return first, second


def _rate_cell(rates: Record, key: str) -> tuple[str, str]:
    rate_bps = rates[f"{key}_bps"]
    return format_rate(rate_bps), _ends(rate_bps, rates[f"{key}_low_bps"], rates[f"{key}_high_bps"])


def _ends(rate_bps: float, low_bps: float, high_bps: float) -> str:
    """An interval in the unit of the rate that stands above it; of its larger end if that is 0."""
    largest = max(abs(low_bps), abs(high_bps))
    unit_bps = max(abs(rate_bps) or largest, 0.001 * largest)
    step = next((step for step in (1e9, 1e6, 1e3) if unit_bps >= step * (1 - 5e-4)), 1.0)
    unit = "" if rate_bps else f" {format_rate(largest).rpartition(' ')[2]}"
    return f"({_digits(low_bps / step)} to {_digits(high_bps / step)}{unit})"


def _digits(number: float) -> str:
    """Three significant digits, never with an exponent."""
    if abs(number) < 1e-3:
        return "0"
    return f"{number:#.3g}".removesuffix(".") if abs(number) < 999.5 else f"{number:.0f}"


def _signed_rate(rate_bps: float) -> str:
    return f"{'+' if rate_bps > 0 else ''}{format_rate(rate_bps)}"


def _verdicts(links: list[Record]) -> "list[RenderableType]":
    """Each service's verdict on each link, those that differ marked."""
    columns = [Column(heading="service", prose=True)]
    columns += [Column(heading=_short(link["name"]), prose=True) for link in links]
    listing = Listing(columns=(*columns, Column(heading="differs")))
    verdicts = [{s["name"]: s["verdict"] for s in link["services"]} for link in links]
    for service in verdicts[0]:
        words = [one.get(service, "not asked for") for one in verdicts]
        listing.add(service, *words, "YES" if len(set(words)) > 1 else "no")
    n_changed = sum(row[-1].plain == "YES" for row in listing.rows)
    said = "No service changes its verdict." if not n_changed else ""
    said = said or f"{format_count(n_changed, 'service')} of {len(listing.rows)} would change."
    told = "Verdicts hold for the site as it is; linkfit advise looks for changes."
    return [heading("Verdicts at the busy hour"), listing, Text(), sentence(f"{said} {told}")]


def _chances(record: Record) -> "list[RenderableType]":
    """Which link serves the site better, with its chance."""
    lines = []
    for pair in record["pairs"]:
        first, alike, second = (
            _share(pair[key]) for key in ("prob_first_better", "prob_alike", "prob_second_better")
        )
        lines.append(
            f"{pair['first']} serves the site better with a chance of {first}, "
            f"{pair['second']} with {second}, both alike with {alike}"
        )
    if len(record["links"]) > 2:
        best = ", ".join(f"{one['name']} {_share(one['prob_best'])}" for one in record["links"])
        lines.append(f"chance to be the best of all: {best}")
    told = "Better: misses the targets of the site by less in all, counted in doublings of time."
    return [heading("Which one serves the site"), *bullets(lines), sentence(told)]


def _share(prob: float) -> str:
    """A chance from draws: never certain."""
    return format_share(min(max(prob, 0.001), 0.999))


def _times(pair: Record) -> "list[RenderableType]":
    """What 19 of 20 stay within, task by task and backlog by backlog."""
    rows = [(one, "s") for one in pair["tasks"]] + [(one, "days") for one in pair["backlogs"]]
    if not rows:
        return []
    listing = Listing(columns=(Column(heading="task or backlog", prose=True), *_name_columns(pair),
                               Column(heading="difference", right=True),
                               Column(heading="real")))  # fmt: skip
    for one, unit in rows[:_N_TASKS]:
        p95 = one["p95"]
        name = f"{one['service']}: {one['name']}" if one["service"] else one["name"]
        target = "" if one["target_s"] is None else f" (target {amount(one['target_s'], 's')})"
        low, high = (_never(p95[f"{end}_{unit}"]) for end in ("low", "high"))
        listing.add(
            f"{name}{target}",
            *(amount(_never(p95[f"{which}_{unit}"]), unit) for which in ("first", "second")),
            (_signed(p95[f"difference_{unit}"], unit), f"({between(low, high, unit)})"),
            "yes" if p95["real"] else "no",
        )
    left = len(rows) - len(listing.rows)
    more = [sentence(f"and {left} more (all of them: --json)")] if left > 0 else []
    title = f"Time that 19 of 20 stay within: {_pair_names(pair)}"
    return [heading(title), listing, *more]


def _never(value: float | None) -> float:
    return _NEVER if value is None else value


def _signed(value: float | None, unit: str) -> str:
    if value is None:
        return "unknown"
    if value == 0:
        return "none"
    return f"{'+' if value > 0 else ''}{amount(value, unit)}"


def _costs(links: list[Record], pairs: list[Record]) -> "list[RenderableType]":
    """What each link costs a month, and what the others cost more."""
    known = [one for one in links if one["cost_per_month"] is not None]
    if not known:
        return []
    lines = []
    for one in known:
        fits = "" if one["n_fit"] is None else f", {format_count(one['n_fit'], 'service')} fit"
        lines.append(f"{one['name']}: {one['cost_per_month']:g} a month{fits}")
    costs = {one["name"]: one["cost_per_month"] for one in known}
    for pair in pairs:
        if pair["first"] in costs and pair["second"] in costs:
            more = costs[pair["second"]] - costs[pair["first"]]
            word = "more" if more >= 0 else "less"
            lines.append(f"{pair['second']} costs {abs(more):g} a month {word} than "
                         f"{pair['first']}")  # fmt: skip
    return [heading("Cost"), *bullets(lines)]


def _short(name: str) -> str:
    return harmless(name, limit=_NAME_LIMIT)
