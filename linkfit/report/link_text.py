"""What `linkfit fit` says of a link model: parameters, how well they fit, what is unknown."""

import math
from typing import TYPE_CHECKING

from linkfit.ingest.trace import DIRECTIONS, Finding
from linkfit.link.busy import RateEffect
from linkfit.link.fit import TRANSFERS_KIND
from linkfit.link.futures import DirectionModel
from linkfit.link.latency import LatencyModel
from linkfit.link.mixture import KIND as SEVERAL_KIND
from linkfit.link.model import LinkModel
from linkfit.link.weekly import WeeklyPattern
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.wording import DIRECTION_WORDS, QUANTILES
from linkfit.units import format_count, format_duration, format_rate, format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

FLOOR_ONLY = (
    "At least this, and nobody knows how much more: nothing tried for all that the link could "
    "carry. The rates are a floor, what was carried at the busiest; outages and quiet moments "
    "look alike. One speed test tells more than this whole record."
)
_MINDED = (SEVERAL_KIND, TRANSFERS_KIND)
_COLUMNS = (Column(heading="figure", prose=True), Column(heading="value", prose=True))


def link_text(link: LinkModel) -> "list[RenderableType]":
    """Everything that is said of a link model."""
    sections = [_direction(link, direction) for direction in ("up", "down")]
    sections.append(_latency(link.latency))
    mind = [_minded(finding) for finding in link.findings if finding.kind in _MINDED]
    if mind:
        sections.append([heading("Mind"), *bullets(mind)])
    if link.missing:
        sections.append([heading("Not measured"), *bullets(link.missing)])
    return apart(sections)


def _direction(link: LinkModel, direction: str) -> "list[RenderableType]":
    model = link.up if direction == "up" else link.down
    title = heading(f"Link {DIRECTION_WORDS[direction]}")
    if model is None:
        return [title, sentence("never measured")]
    listing = Listing(columns=_COLUMNS)
    for name, value in direction_figures(model):
        listing.add(name, value)
    if model.lower_bound_only:
        return [title, sentence(FLOOR_ONLY), listing]
    return [title, listing, *_averages(model)]


def direction_figures(model: DirectionModel) -> list[tuple[str, str]]:
    """Each figure of one direction: its name and its value in words."""
    if model.lower_bound_only:
        return [
            ("measured", "lower bounds only"),
            ("carried at the busiest, IP layer", f"at least {format_rate(model.mean_rate_bps)}"),
            ("mind", "only lower bounds were measured: the rates are a floor"),
        ]
    low, middle, high = (format_rate(float(q)) for q in model.marginal.quantile(QUANTILES))
    outages = model.marginal.outages
    return [
        ("measured", measured_text(model)),
        ("mean rate of a second, IP layer", format_rate(model.mean_rate_bps)),
        ("5 %, median, 95 % of seconds", f"{low}, {middle}, {high}"),
        ("family of the rates", family_text(model)),
        ("outages", _outage_text(outages.n_outages, outages.share_frac, outages.mean_s,
                                 outages.longest_s)),
        ("a second like the one before", f"correlation {model.dependence.lag1_correlation:.2f}"),
        ("replayed in blocks of", format_duration(model.mean_block_s)),
        ("daily pattern", _daily_text(model)),
        ("weekly pattern", weekly_text(model.weekly)),
        ("level still unknown by", f"{100 * model.level.unknown_sigma:.2g} % (1 sigma)"),
    ]  # fmt: skip


def measured_text(model: DirectionModel) -> str:
    """How much was measured: runs or tests, and seconds in all."""
    runs = format_count(model.n_tests, "run")
    return f"{runs}, {format_duration(model.measured_s)} in all"


def family_text(model: DirectionModel) -> str:
    """Which family tells the rates of single seconds, and whether it does so well enough."""
    best = model.marginal.best
    if best is None:
        return "too few seconds to tell one: measured quantiles are used"
    if model.marginal.p_value is None:
        return f"{best.name} is the best, not tested: measured quantiles are used"
    tested = f"p = {model.marginal.p_value:.2g} in a bootstrap by blocks"
    if model.marginal.fits:
        return f"{best.name} fits ({tested})"
    return f"none fits; {best.name} is the nearest ({tested}): measured quantiles are used"


def _outage_text(n_outages: int, share_frac: float, mean_s: float, longest_s: float) -> str:
    if n_outages == 0:
        return "none seen"
    return (
        f"{n_outages} seen, {100 * share_frac:.2g} % of the time, {format_duration(mean_s)} on "
        f"average, the longest {format_duration(longest_s)}"
    )


def _daily_text(model: DirectionModel) -> str:
    daily = model.daily
    if daily.n_days == 0:
        return "no time of day was measured"
    days = format_count(daily.n_days, "day")
    if not daily.found:
        return f"none found in {days}"
    known = daily.hours_known
    if not known:
        return f"found, but no hour was measured for more than minutes in {days}"
    worst = min(known, key=lambda hour: float(daily.factor[hour]))
    best = max(known, key=lambda hour: float(daily.factor[hour]))
    return (
        f"{daily.factor[worst]:.2f} times the usual rate at {worst}-{worst + 1} h, "
        f"{daily.factor[best]:.2f} times at {best}-{best + 1} h ({daily.timezone}, measured "
        f"hours of {days})"
    )


def weekly_text(weekly: WeeklyPattern) -> str:
    """What weekends are against other days, or what keeps that from being known."""
    n_weekend_days, n_weekdays = weekly.n_weekend_days, weekly.n_weekdays
    if n_weekend_days + n_weekdays == 0:
        return "no time of day was measured"
    if not n_weekend_days:
        return "Saturdays and Sundays were never measured"
    if not n_weekdays:
        return "Mondays to Fridays were never measured"
    days = (
        f"{format_count(n_weekend_days, 'weekend day')} and {format_count(n_weekdays, 'other day')}"
    )
    if not weekly.tested:
        return f"too few days to tell: {days}"
    if not weekly.found:
        return f"none found in {days}"
    low, high = (weekly.factor * math.exp(z * weekly.sigma) for z in (-1.645, 1.645))
    return (
        f"{weekly.factor:.2f} times the rate of other days on Saturdays and Sundays (90 %: "
        f"{low:.2f} to {high:.2f}; {days})"
    )


def _averages(model: DirectionModel) -> "list[RenderableType]":
    """The check of the replay: how much averages vary, measured and in the model's futures."""
    dependence = model.dependence
    if not dependence.windows_s:
        return []
    listing = Listing(
        columns=(
            Column(heading="average over", right=True),
            Column(heading="varies by, measured", right=True),
            Column(heading="in the model", right=True),
        )
    )
    pairs = zip(dependence.spreads_bps, dependence.model_spreads_bps, strict=True)
    for window_s, (measured_bps, model_bps) in zip(dependence.windows_s, pairs, strict=True):
        listing.add(format_duration(window_s), format_rate(measured_bps), format_rate(model_bps))
    return [sentence(""), listing]


def _latency(latency: LatencyModel | None) -> "list[RenderableType]":
    title = heading("Round trip")
    if latency is None:
        return [title, sentence("never measured: what is usual of cellular links is assumed")]
    numbers = ("probes", "5 %", "median", "95 %")
    columns = (
        Column(heading="link", prose=True),
        *(Column(heading=text, right=True) for text in numbers),
    )
    listing = Listing(columns=columns)
    for name, quantiles_s, n_probes in (
        ("idle", latency.idle_rtts_s, latency.n_idle),
        ("busy", latency.loaded_rtts_s, latency.n_loaded),
    ):
        if quantiles_s is None:
            listing.add(f"{name}: not measured", "0", "", "", "")
            continue
        last = quantiles_s.size - 1
        shown = (format_duration(float(quantiles_s[round(q * last)])) for q in QUANTILES)
        listing.add(name, f"{n_probes}", *shown)
    if latency.n_idle == 0:
        return [title, listing, sentence(
            "No probe measured it: these round trips are those that explain how long transfers "
            "of different sizes took."
        )]  # fmt: skip
    lost = f"{100 * latency.loss_frac:.2g} % of probes lost"
    told = [lost if latency.loss_frac else format_share(0) + " lost"]
    if latency.random_loss_frac is not None:
        told.append(f"lost by chance, outside outages: {100 * latency.random_loss_frac:.2g} %")
    if latency.mean_burst_probes is not None:
        told.append(f"lost together: {latency.mean_burst_probes:.1f} probes in a row on average")
    if latency.loaded_rtts_s is not None:
        told += [_effect_text("upload", latency.up_effect)]
        told += [_effect_text("download", latency.down_effect)]
    return [title, listing, *bullets(told)]


def _effect_text(name: str, effect: RateEffect | None) -> str:
    """How the queue depends on the rate of an upload or download."""
    subject = f"busy round trip and the rate of the {name}"
    if effect is None:
        return f"{subject}: not measured together"
    pairs = format_count(effect.n_pairs, "probe")
    if not effect.found:
        return f"{subject}: no dependence found in {pairs}"
    factors = (2.0 ** (effect.slope + z * effect.sigma) for z in (0.0, -1.645, 1.645))
    middle, low, high = (f"{factor:.2f}" for factor in factors)
    return (
        f"{subject}: at twice the rate {middle} times the time in the queue (90 %: {low} to "
        f"{high}; {pairs})"
    )


def _minded(finding: Finding) -> str:
    """A finding with the direction it is about, where its text does not say it."""
    return f"{finding.source}: {finding.text}" if finding.source in DIRECTIONS else finding.text
