"""Interactive work for a person: what works while what else is sent, and the limit to set."""

import math
from typing import TYPE_CHECKING

from rich.text import Text

from linkfit.forecast.activities import felt
from linkfit.forecast.interactive_forecast import NO_LIMIT
from linkfit.report.estimates import rate_text, rate_texts, share_text, share_texts, spread_text
from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.wording import QUANTILES, amount, between
from linkfit.units import format_rate, format_share, format_size

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import RenderableType

    from linkfit.forecast.interactive import Cell
    from linkfit.forecast.interactive_forecast import GroupCall, InteractiveForecast
    from linkfit.forecast.rate_limits import RateLimit
    from linkfit.forecast.world_intervals import Estimate

_FEW_PROBES = 30
FLOOR = (
    "Nobody ever asked this link for all it carries upwards: rates and limits are a floor, so "
    "measure with a transfer that tries for all it can get."
)


def interactive_text(found: "InteractiveForecast") -> "list[RenderableType]":
    """Everything that is said of interactive work on a link."""
    lines: list[RenderableType] = [heading("Interactive work, the server sending (link up)")]
    lines += [Text(), *bullets(_answers(found))]
    for situation in dict.fromkeys(cell.situation for cell in found.cells):
        cells = [cell for cell in found.cells if cell.situation == situation]
        lines += [Text(), sentence(f"While {situation}:"), Text(), _cells(cells)]
    good = "; ".join(dict.fromkeys(f"{c.activity} {c.good}" for c in found.cells))
    lines += [
        Text(),
        sentence(
            f"Good means: {good}. It fits where 95 % of moments are good in all of the interval "
            "below the share, which is wide where the link was measured little."
        ),
        Text(),
        heading("Rate limit on the backup and all else that can wait"),
        Text(),
        _limits(found),
        Text(),
        *(sentence(text) for text in _costs(found)),
        Text(),
        heading("Calls that the server relays, nothing else sent"),
        Text(),
        *bullets([_group(group) for group in found.groups]),
        sentence("N people make the server receive N streams and send N x (N - 1)."),
        Text(),
        *bullets(_notes(found)),
    ]
    return lines


def _answers(found: "InteractiveForecast") -> list[str]:
    """The three questions that bring people here, in a sentence each."""
    return [limit_answer(limit, found.cells) for limit in found.limits[:3]]


def limit_answer(limit: "RateLimit", cells: "Sequence[Cell]") -> str:
    """Whether an activity bears a backup without a limit, and which limit keeps it good."""
    free = next(c for c in cells if (c.activity, c.situation) == (limit.name, NO_LIMIT))
    text = f"{limit.name} beside a backup without a limit: {free.verdict}"
    if not limit.is_needed:
        return f"{text}, no limit is needed."
    if limit.limit.value == 0:
        return (
            f"{text}, and no limit helps: with nothing else sent only "
            f"{share_text(limit.idle_share)} of moments are good."
        )
    safe = f", {format_rate(limit.limit.low)} to be safe" if limit.limit.low else ""
    return f"{text}; set a limit of at most {rate_text(limit.limit)}{safe}."


def _cells(cells: "list[Cell]") -> Listing:
    listing = Listing(
        columns=(
            Column(heading="activity"),
            Column(heading="median", right=True),
            Column(heading="5 to 95 %", right=True),
            Column(heading="good moments", right=True),
            Column(heading="verdict"),
        )
    )
    for cell in cells:
        low, middle, high = (float(q) for q in cell.time.quantile(QUANTILES))
        listing.add(
            (cell.activity, second_line(cell)),
            amount(middle, "s"),
            between(low, high, "s"),
            share_texts(cell.share),
            cell.verdict,
        )
    return listing


def second_line(cell: "Cell") -> str:
    """What the time is, how a call sounds, how a page feels."""
    if cell.activity == "page load":
        return f"{cell.measure}, {felt(float(cell.time.quantile(0.5)))}"
    if cell.score is None:
        return cell.measure
    low, middle, high = (float(q) for q in cell.score.quantile(QUANTILES))
    return f"MOS {middle:.1f} ({low:.1f} to {high:.1f})"


def _limits(found: "InteractiveForecast") -> Listing:
    listing = Listing(
        columns=(
            Column(heading="keeps"),
            Column(heading="largest limit", right=True),
            Column(heading="rate kept", right=True),
        )
    )
    for one in found.limits:
        if one.limit.value == 0:
            shown: tuple[str, str] = ("no limit helps", "")
        elif not one.is_needed:
            shown = ("none needed", "")
        else:
            shown = rate_texts(one.limit)
        left = format_share(one.sync_share.value) if 0 < one.limit.value < math.inf else ""
        listing.add((one.name, one.good), shown, left)
    return listing


def _costs(found: "InteractiveForecast") -> list[str]:
    """What the limit costs, and what the usual start value would give."""
    free, held = spread_text(found.free_s), spread_text(found.held_s)
    least, base, most = (format_rate(bps) for bps in found.adaptive_bps)
    starts = ", ".join(f"{one.name} {share_text(one.start_share)}" for one in found.limits[:3])
    return [
        f"Each limit keeps its line good in {format_share(found.wanted_prob)} of moments. Rate "
        "kept: the backup's mean rate under the limit, of that without.",
        f"{format_size(found.sync_bytes)} take {free} without a limit and {held} at "
        f"{format_rate(found.limit_bps)}.",
        "Common practice starts with 85 % of the rate that the link exceeds nine seconds in ten: "
        f"here {format_rate(found.start_bps)}, with good moments of {starts}. For a limit that "
        f"follows the link: at least {least}, base {base}, at most {most}.",
    ]


def _group(group: "GroupCall") -> str:
    most = f"at most {group.n_people}" if group.n_people > 1 else "not even two"
    between = (
        f"{group.n_low} to {group.n_high}" if group.n_low != group.n_high else str(group.n_low)
    )
    ways = " and ".join(group.ways)
    return f"{group.name}: {most} people in one call (interval: {between}; link {ways})."


def _notes(found: "InteractiveForecast") -> list[str]:
    sources = {
        "as stated": "The buffer before the link is as stated",
        "measured under load": "The queue before the link was measured under load "
        f"({found.n_busy_probes} probes)",
        "common practice": "Nobody measured round trips while the link was busy: the queue is a "
        "guess from common practice, so the answers are wide; probe while an upload runs",
    }
    notes = [f"{sources[found.queue_source]}: a full one delays by {spread_text(found.queue_s)}."]
    if found.is_floor:
        notes.append(FLOOR)
    idle = found.idle
    kept = ", ".join(map(str, idle.classes))
    notes.append(
        f"One way over the idle link: mean delay {_span(idle.delay_s)}, variation "
        f"{_span(idle.variation_s)}, loss outside outages {_loss(idle.loss_frac)}. Of the network "
        f"classes of ITU-T Y.1541 that keeps {kept}."
    )
    if found.n_probes < _FEW_PROBES:
        notes.append(
            f"Round trips measured: {found.n_probes}. Loss and delay are little known; "
            "a few hundred probes cost some 50 kB."
        )
    notes += [
        f"The link is slower than a {cell.activity} needs in "
        f"{format_share(min(cell.short_of_rate_frac, 0.999))} of the time."
        for cell in found.cells[:3]
        if cell.short_of_rate_frac > 0
    ]
    notes.append(
        "Changes within a second and queues in the other direction are not looked at."
        if found.hour is None
        else f"All of it holds for {found.hour} to {found.hour + 1} h local time, the slowest "
        "hour; changes within a second and queues in the other direction are not looked at."
    )
    notes.append("Never rely on this link for emergency calls.")
    return notes


def _span(found: "Estimate") -> str:
    shown = between(found.low, found.high, "s")
    value = amount(found.value, "s")
    return value if shown == value else f"{value} ({shown})"


def _loss(found: "Estimate") -> str:
    value, low, high = (f"{100 * x:.2g}" for x in (found.value, found.low, found.high))
    return f"{value} %" if low == high else f"{value} % ({low} to {high} %)"
