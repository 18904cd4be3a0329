"""What the link carries, for a person: averages, the slowest hour, outages, what is not known."""

import math
from typing import TYPE_CHECKING

from linkfit.link.enough_tests import cells_without_model
from linkfit.report.link_text import weekly_text
from linkfit.report.listing import Column, Listing, apart, bullets, heading, sentence
from linkfit.report.wording import DIRECTION_WORDS, QUANTILES
from linkfit.units import format_count, format_duration, format_rate, format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

    from linkfit.forecast.capacity import AverageRate, Capacity, DirectionCapacity, Moment
    from linkfit.forecast.world_intervals import Estimate

_PIECED = (
    "averages over {} or more are longer than any stretch measured without a pause ({}): they are "
    "put together from several"
)


def capacity_text(found: "Capacity") -> "list[RenderableType]":
    """Everything that is said of what the link carries."""
    sections: list[list[RenderableType]] = []
    for name, one in (("up", found.up), ("down", found.down)):
        title = heading(f"Link {DIRECTION_WORDS[name]}")
        if one is None:
            sections.append([title, sentence("never measured")])
        elif one.at_least_bps is not None:
            sections.append([title, *_floor(one.at_least_bps, found.below_bps)])
        else:
            sections.append([title, sentence(_measured(one))])
            sections += [_moment(moment, one, found.below_bps) for moment in one.moments]
            sections.append(_asides(one))
    if any(one is not None and one.moments for one in (found.up, found.down)):
        sections.append([sentence(_READING)])
    if found.missing:
        sections.append([heading("Not measured"), *bullets(found.missing)])
    return apart(sections)


_READING = (
    "Rates hold the headers of the IP layer: TCP payload is 3.5 % less, tunnels take more. 5 % of "
    "moments are slower than the first rate, 95 % slower than the last. Below each number is its "
    "90 % interval, wide where the link was measured little."
)


def _floor(at_least_bps: float, below_bps: float | None) -> "list[RenderableType]":
    """Where nothing tried for all that the link can carry."""
    lines: list[RenderableType] = [
        sentence(
            f"at least {format_rate(at_least_bps)}, averaged over 10 s at the busiest. Nothing "
            "tried for more, so neither how much more the link can carry nor how often it "
            "carries less was measured; an outage looks like a quiet moment."
        )
    ]
    if below_bps is not None:
        lines.append(sentence(f"Share of time below {format_rate(below_bps)}: not measured."))
    return lines


def _measured(found: "DirectionCapacity") -> str:
    runs = format_count(found.n_tests, "run")
    return f"measured for {format_duration(found.measured_s)} in {runs}"


def _moment(
    moment: "Moment", found: "DirectionCapacity", below_bps: float | None
) -> "list[RenderableType]":
    """One table of averages with its outages."""
    columns = ["5 %", "median", "95 %"]
    if below_bps is not None:
        columns.append(f"below {format_rate(below_bps)}")
    listing = Listing(
        columns=(
            Column(heading="average over"),
            *(Column(heading=text, right=True) for text in columns),
        )
    )
    for average in moment.averages:
        cells = [_rate(average, level) for level in QUANTILES]
        if average.below is not None:
            cells.append(_share(average.below))
        listing.add(_window(average.window_s), *cells)
    lines: list[RenderableType] = [
        heading(_when(moment, found)),
        listing,
        sentence(_outages(moment, found)),
    ]
    if moment.hour_was_measured is False:
        lines.append(
            sentence(
                "This hour was never measured: the numbers follow from the measured hours, made "
                "wider by what hours usually differ."
            )
        )
    return lines


def _window(window_s: int) -> str:
    return f"{window_s} s" if window_s < 60 else f"{window_s // 60} min"


def _when(moment: "Moment", found: "DirectionCapacity") -> str:
    if moment.hour is None:
        return "From now on" if moment.when == "now" else "At any time that was measured"
    hour = int(moment.hour)
    if moment.when == "at":
        return f"At {hour}:{round(moment.hour % 1 * 60):02d} ({found.timezone})"
    return f"Slowest measured hour: {hour} to {hour + 1} h ({found.timezone})"


def _rate(average: "AverageRate", level: float) -> tuple[str, str]:
    """A quantile and its interval, in the same unit: "5.50 Mbit/s" above "(0.66 to 6.10)"."""
    rate_bps = float(average.rate.quantile(level))
    value = format_rate(rate_bps)
    number = value.rpartition(" ")[0]
    low, high = (
        _in_unit(end_bps, float(number) / rate_bps if rate_bps else 1.0)
        for end_bps in average.rate.quantile_interval(level)
    )
    return value, f"({low})" if low == high else f"({low} to {high})"


def _in_unit(rate_bps: float, factor: float) -> str:
    """Three significant digits, never with an exponent."""
    number = max(rate_bps * factor, 0.0)
    if number < 1e-3:
        return "0"
    return f"{number:#.3g}".removesuffix(".") if number < 999.5 else f"{number:.0f}"


def _share(found: "Estimate") -> tuple[str, str]:
    """A share of moments; what all drawn futures do is no certainty."""
    value, low, high = (
        format_share(min(max(share, 0.001), 0.999))
        for share in (found.value, found.low, found.high)
    )
    return value, f"({low})" if low == high else f"({low.removesuffix(' %')} to {high})"


def _outages(moment: "Moment", found: "DirectionCapacity") -> str:
    """How much of the time, how often, how long; or how many none seen leaves possible."""
    outages = moment.outages
    if outages.mean_s is None:
        if outages.most_per_day is None or outages.share.value > 0:
            return f"Outages: all {format_share(outages.share.value)} of the time."
        return (
            f"Outages: none seen in {format_duration(found.measured_s)}, which leaves up to "
            f"{_count(outages.most_per_day)} a day possible (95 %)."
        )
    share, per_day, mean_s = outages.share, outages.per_day, outages.mean_s
    return (
        f"Outages: {_percent(share.value)} of the time ({_percent(share.low)} to "
        f"{_percent(share.high)}), {_count(per_day.value)} a day ({_count(per_day.low)} to "
        f"{_count(per_day.high)}), {format_duration(mean_s.value)} each on average "
        f"({format_duration(mean_s.low)} to {format_duration(mean_s.high)})."
    )


def _were(number: int) -> str:
    return "was" if number == 1 else "were"


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %"


def _count(number: float) -> str:
    return f"{number:.2g}" if number < 100 else f"{round(number, -int(math.log10(number)) + 1):.0f}"


def _asides(found: "DirectionCapacity") -> "list[RenderableType]":
    """The slowest hour that is not known, weekends, and averages longer than the record."""
    lines = []
    if found.no_slowest_hour is not None:
        lines.append(f"no slowest hour: {found.no_slowest_hour}")
    lines.append(f"weekends: {weekly_text(found.weekly)}")
    n_needed = cells_without_model(QUANTILES[0])
    if found.n_tests < n_needed:
        lines.append(
            f"the 5 % rates rest on the model: {n_needed} tests apart from each other would bound "
            f"them by counting alone, and {found.n_tests} {_were(found.n_tests)} made"
        )
    windows_s = [average.window_s for average in found.moments[0].averages]
    long_s = [window_s for window_s in windows_s if window_s > found.longest_s]
    if long_s:
        lines.append(_PIECED.format(_window(long_s[0]), format_duration(found.longest_s)))
    return [*bullets(lines)]
