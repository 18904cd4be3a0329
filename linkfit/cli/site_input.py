"""What a command was given as its SITE, and the day from which deadlines count."""

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING

from linkfit.cli.console import tell
from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.site.model import Backlog, Site


def site_from(
    site_path: str, link_paths: tuple[str, ...], settings: Sequence[str] | None = None
) -> "Site":
    """The site file at `site_path` with `settings` (PATH=VALUE) put into it.

    Standard input can hold the site or the link, not both.
    """
    from linkfit.site.file import read_site

    if site_path == "-" and "-" in link_paths:
        raise InputError("-: expected stdin for SITE or for LINK, got both; save one as a file")
    return read_site(site_path, tuple(settings or ()))


def first_day(text: str | None, site: "Site", today: date) -> date | None:
    """The first day of the backlogs: as given, else `today` while no deadline has passed.

    A deadline that has passed cannot be judged from today: then the day is None, the finish is
    still forecast in days, and a message says so.
    """
    if text is not None:
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise InputError(f"--start: expected a day as 2026-06-29, got {text!r}") from error
    passed = [b for b in site.backlogs if b.deadline is not None and b.deadline < today]
    if not passed:
        return today
    for backlog in passed:
        tell(
            f"note: backlog {backlog.name}: its deadline {backlog.deadline} lies before today; "
            "deadlines are not judged, give --start to judge them"
        )
    return None


def chosen_backlogs(site: "Site", name: str | None) -> "tuple[Backlog, ...]":
    """The backlog called `name`, or all; a site without any has nothing to answer."""
    if not site.backlogs:
        raise InputError(
            "SITE: expected at least one [[backlog]], got none; add one, or leave SITE out and "
            "say --items, --size and --flow"
        )
    if name is None:
        return site.backlogs
    found = tuple(backlog for backlog in site.backlogs if backlog.name == name)
    if not found:
        known = ", ".join(repr(backlog.name) for backlog in site.backlogs)
        raise InputError(f"--name: expected one of {known}, got {name!r}")
    return found
