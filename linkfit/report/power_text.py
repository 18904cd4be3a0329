"""Battery and panel for a person: hours up, energy for a GB, what a change brings."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from rich.text import Text

from linkfit.report.listing import Column, Listing, bullets, heading, sentence
from linkfit.report.wording import DIRECTION_WORDS
from linkfit.units import format_energy, format_share

if TYPE_CHECKING:
    from rich.console import RenderableType

Record = Mapping[str, Any]
_LEAST_GAIN_H = 0.05


def power_text(record: Record) -> "list[RenderableType]":
    """Hours up a day, battery alone, energy for a GB, changes, notes and cautions."""
    parts: list[RenderableType] = [
        heading(f"Hours up a day by battery and panel, {record['site']}"),
        _months(record),
        Text(),
        sentence(
            "5 %, median, 95 %: of single days, sunny and dull. mean: of the month, in brackets "
            "its 90 % interval from year to year and panel to panel. whole days: chance that a "
            "day has no gap."
        ),
        Text(),
        *bullets(_facts(record)),
    ]
    if record["energy_per_gb"]:
        parts += [Text(), heading("Energy for a GB of payload"), *bullets(_energies(record))]
    parts += [Text(), heading(f"What would change it, each alone ({record['changes_month']})")]
    parts += bullets(_changes(record))
    for title, key in (("Notes", "notes"), ("Before you rely on this", "cautions")):
        if record[key]:
            parts += [Text(), heading(title), *bullets(record[key])]
    return parts


def _months(record: Record) -> Listing:
    listing = Listing(
        columns=(
            Column(heading="month"),
            Column(heading="sun", right=True),
            Column(heading="5 %", right=True),
            Column(heading="median", right=True),
            Column(heading="95 %", right=True),
            Column(heading="mean", right=True),
            Column(heading="whole days", right=True),
        )
    )
    for one in record["months"]:
        listing.add(
            one["month"],
            f"{one['sun_hours']:.1f} h",
            *(f"{one[f'{level}_h']:.1f} h" for level in ("p05", "p50", "p95")),
            f"{one['mean_p50_h']:.1f} h ({one['mean_p05_h']:.1f} to {one['mean_p95_h']:.1f})",
            format_share(one["prob_whole_day"]),
        )
    return listing


def _facts(record: Record) -> list[str]:
    power = record["power"]
    lines = [
        f"a full battery alone carries the load of {power['load_w']:g} W for "
        f"{record['battery_alone_h']:.3g} h ({record['battery_alone_days']:.2g} days without sun)"
    ]
    if power["panel_w"]:
        lines.append(
            f"the panel of {power['panel_w']:g} W is taken to bring {power['panel_in_sun_w']:.0f} W"
            f" in full sun; in shade such a panel brings {power['panel_in_shade_w']:.0f} W"
        )
    return lines


def _energies(record: Record) -> list[str]:
    lines = []
    for one in record["energy_per_gb"]:
        words = f"{one['direction']}: {_wh(one)} for the whole machine while it moves"
        if one["added"] is not None:
            words += f"; {_wh(one['added'])} more than if it were up and idle"
        lines.append(words.replace(one["direction"], DIRECTION_WORDS[one["direction"]], 1))
    return lines


def _wh(quantiles: Record) -> str:
    if quantiles["p50_wh"] is None:
        return "without end"
    low, middle, high = (quantiles[f"{level}_wh"] for level in ("p05", "p50", "p95"))
    most = "without end" if high is None else _bare(high)
    return f"{_bare(middle)} Wh (90 %: {_bare(low)} to {most})"


def _bare(energy_wh: float) -> str:
    return format_energy(energy_wh).removesuffix(" Wh")


def _changes(record: Record) -> list[str]:
    gains = [one for one in record["changes"] if one["p50_h"] >= _LEAST_GAIN_H]
    lines = [
        f"{one['what']}: {one['p50_h']:.1f} h more a day ({one['p05_h']:.1f} to {one['p95_h']:.1f})"
        for one in gains
    ]
    idle = [one["what"] for one in record["changes"] if one["p50_h"] < _LEAST_GAIN_H]
    if idle:
        lines.append(f"no gain found: {', '.join(idle)}")
    return lines
