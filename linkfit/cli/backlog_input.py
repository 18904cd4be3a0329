"""What ``linkfit backlog`` was asked: the backlogs of a site file, or one from options."""

import re
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING

from linkfit.cli.site_input import chosen_backlogs, site_from
from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.site.hours import DayWindow
    from linkfit.site.model import Backlog, Site


@dataclass(frozen=True, slots=True, kw_only=True)
class BacklogOptions:
    """Options of the command as texts; None where not given."""

    paths: tuple[str, ...]
    name: str | None = None
    items: int | None = None
    size: str | None = None
    flow: str | None = None
    per_item: str | None = None
    window: str | None = None
    cap: str | None = None
    deadline: str | None = None
    timezone: str | None = None


def asked_backlogs(given: BacklogOptions) -> "tuple[Site, tuple[Backlog, ...], tuple[str, ...]]":
    """The site, the backlogs asked about, and the files of the link."""
    if given.items is None:
        _refuse_loose(given)
        if not given.paths:
            raise InputError(
                "SITE: expected a site file, or --items, --size and --flow, got neither; for "
                'example --items 5000 --size "3.5 MB" --flow out'
            )
        site = site_from(given.paths[0], given.paths[1:])
        chosen = tuple(_edited(one, given) for one in chosen_backlogs(site, given.name))
        return _capped(_replaced(site, chosen), given.cap), chosen, given.paths[1:]
    from linkfit.site.model import Site

    backlog = _edited(_one_backlog(given), given)
    site = Site(name="no site", timezone=given.timezone or "UTC", backlogs=(backlog,))
    return _capped(site, given.cap), (backlog,), given.paths


def _refuse_loose(given: BacklogOptions) -> None:
    """Options that say what waits go with --items only: a site file says it itself."""
    loose = [f"--{name}" for name in ("size", "flow") if getattr(given, name) is not None]
    if loose:
        raise InputError(
            f"{', '.join(loose)}: expected it with --items, got it with a site file, which says "
            "that itself; take it out or add --items"
        )


def _one_backlog(given: BacklogOptions) -> "Backlog":
    from linkfit.site.model import Backlog, SizeLaw
    from linkfit.units import parse_size_bytes

    missing = [f"--{name}" for name in ("size", "flow") if getattr(given, name) is None]
    if missing:
        raise InputError(f"{', '.join(missing)}: expected a value with --items, got nothing")
    if given.name is not None:
        raise InputError(f"--name: expected it with a site file, got {given.name!r} with --items")
    assert given.items is not None
    return Backlog(
        name="items",
        n_items=given.items,
        size=SizeLaw(median_bytes=parse_size_bytes(given.size or "", where="--size")),
        flow=given.flow or "",
    )


def _edited(backlog: "Backlog", given: BacklogOptions) -> "Backlog":
    """The backlog with what the command line says of it."""
    from linkfit.units import parse_duration_s

    if given.window is not None:
        backlog = replace(backlog, window=(read_window("--window", given.window),))
    if given.deadline is not None:
        backlog = replace(backlog, deadline=read_day("--deadline", given.deadline))
    if given.per_item is not None:
        seconds = parse_duration_s(given.per_item, where="--per-item")
        backlog = replace(backlog, per_item_s=seconds)
    return backlog


def _replaced(site: "Site", chosen: "tuple[Backlog, ...]") -> "Site":
    by_name = {one.name: one for one in chosen}
    return replace(site, backlogs=tuple(by_name.get(one.name, one) for one in site.backlogs))


def _capped(site: "Site", cap: str | None) -> "Site":
    from linkfit.units import parse_size_bytes

    if cap is None:
        return site
    return replace(site, plan=replace(site.plan, cap_bytes=parse_size_bytes(cap, where="--cap")))


def read_window(option: str, text: str) -> "DayWindow":
    """A part of the day such as "23:00-05:00"."""
    from linkfit.site.quantities import parse_window

    try:
        return parse_window(text)
    except InputError as error:
        raise InputError(f"{option}: {error}") from error


def read_day(option: str, text: str) -> date:
    """A day such as 2026-06-29."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{option}: expected a day as 2026-06-29, got {text!r}") from error


def start_hour(at: str | None, window: str | None) -> float:
    """Local hour of the start: as given, else where the window begins, else midnight. [h]"""
    if at is None:
        return 0.0 if window is None else read_window("--window", window).start_h
    match = re.fullmatch(r"(\d{1,2})(?::([0-5]\d))?", at.strip())
    hour = int(match[1]) + int(match[2] or 0) / 60 if match else -1.0
    if not 0 <= hour < 24:
        raise InputError(f"--at: expected an hour from 0:00 to 23:59, got {at!r}; write '20:00'")
    return hour


def night_length_h(within: str | None, window: str | None) -> float | None:
    """Hours that each day has for it: of --within, else of --window; None for neither. [h]"""
    from linkfit.units import SECONDS_PER_HOUR, parse_duration_s

    if within is not None:
        return parse_duration_s(within, where="--within") / SECONDS_PER_HOUR
    return None if window is None else read_window("--window", window).length_h
