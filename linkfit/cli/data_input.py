"""What ``linkfit data`` was given: a plan, the use so far with its day, rates after the cap."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from linkfit._checks import positive
from linkfit.cli.link_input import QuickNumbers, TraceInput, link_from
from linkfit.errors import InputError
from linkfit.units import parse_rate_bps, parse_size_bytes

if TYPE_CHECKING:
    from linkfit.forecast.used_so_far import CyclePlace
    from linkfit.link.model import LinkModel
    from linkfit.site.model import Site

_NOON = time(12)  # a figure read on some day was read at no known hour


def with_plan(site: "Site", plan: str | None) -> "Site":
    """The site with another cap; a tether allowance below it stays."""
    if plan is None:
        return site
    cap_bytes = positive("--plan", parse_size_bytes(plan, where="--plan"))
    return replace(site, plan=replace(site.plan, cap_bytes=cap_bytes))


def used_and_place(
    used: str | None, on: str | None, site: "Site"
) -> "tuple[float | None, CyclePlace | None]":
    """Bytes used so far, and where in the billing cycle that was read; None where not told."""
    from linkfit.forecast.used_so_far import CyclePlace

    if on is None:
        if used is not None:
            raise InputError(
                "--on: expected the day on which --used was read, got nothing; add --on 2026-06-14"
            )
        return None, None
    place = CyclePlace.at(_moment(on, site.timezone), site.plan.cycle_day)
    return None if used is None else parse_size_bytes(used, where="--used"), place


def _moment(text: str, timezone: str) -> datetime:
    """A day (then noon of it) or a day with a time; one with an offset is put into `timezone`."""
    try:
        day = date.fromisoformat(text.strip())
        return datetime.combine(day, _NOON)
    except ValueError:
        pass
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f"--on: expected a day as 2026-06-14 or with a time as 2026-06-14T18:00, got {text!r}"
        ) from error
    return moment if moment.tzinfo is None else moment.astimezone(ZoneInfo(timezone))


def slowed_rates_bps(
    texts: Sequence[str] | None, site: "Site", links: Sequence[str] | None
) -> tuple[float, ...]:
    """Rates after the cap to look at, the plan's own among them where any is asked for. [bit/s]"""
    if not texts:
        return ()
    if not links:
        raise InputError(
            "--slowed-to: expected a LINK to slow down, got none; name the trace files or a "
            "link.json after SITE"
        )
    own = [] if site.plan.throttle_bps is None else [site.plan.throttle_bps]
    asked = [positive("--slowed-to", parse_rate_bps(text, where="--slowed-to")) for text in texts]
    return tuple(sorted({*own, *asked}))


def given_link(links: Sequence[str] | None, site: "Site", seed: int) -> "LinkModel | None":
    """The link that the command was given; None without one."""
    if not links:
        return None
    given = TraceInput(paths=tuple(links), timezone=site.timezone)
    return link_from(given, QuickNumbers(), seed=seed)


def measured_rates_bps(link: "LinkModel | None") -> dict[str, float] | None:
    """Mean rate of each measured direction of `link`; None without one. [bit/s]"""
    if link is None:
        return None
    models = {"up": link.up, "down": link.down}
    return {name: model.mean_rate_bps for name, model in models.items() if model is not None}
