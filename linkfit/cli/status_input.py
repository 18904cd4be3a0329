"""The terms on which a record is looked at: cap, cycle, zone and moment, from options or a site."""

import time
from dataclasses import dataclass
from datetime import datetime, tzinfo

from linkfit._checks import positive
from linkfit.cli.record_input import zone_of
from linkfit.errors import InputError
from linkfit.units import parse_size_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusTerms:
    """What status takes beside the store."""

    now_s: float
    cap_bytes: float | None
    counted: str
    cycle_day: int
    zone: tzinfo


def status_terms(
    *,
    cap: str | None,
    cycle_day: int | None,
    timezone: str | None,
    site: str | None,
    on: str | None,
) -> StatusTerms:
    """The terms as typed; a site file says what is not.

    Raises
    ------
    InputError
        If one of them cannot be.
    """
    cap_bytes, counted, day, name = None, "both", 1, "UTC"
    if site is not None:
        from linkfit.site.file import read_site

        found = read_site(site)
        cap_bytes, counted = found.plan.cap_bytes, found.plan.counted
        day, name = found.plan.cycle_day, found.timezone
    if cap is not None:
        cap_bytes = positive("--cap", parse_size_bytes(cap, where="--cap"))
    zone = zone_of(timezone or name)
    return StatusTerms(
        now_s=time.time() if on is None else _moment_s(on, zone), cap_bytes=cap_bytes,
        counted=counted, cycle_day=day if cycle_day is None else cycle_day, zone=zone,
    )  # fmt: skip


def _moment_s(text: str, zone: tzinfo) -> float:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(f"--on: expected a moment as 2026-06-14T18:00, got {text!r}") from error
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).timestamp()
