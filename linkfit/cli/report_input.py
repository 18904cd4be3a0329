"""What a report is asked to be made of: a site and a link, or the page of an earlier report."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

from linkfit.cli.console import tell
from linkfit.cli.link_input import QuickNumbers, TraceInput, link_from
from linkfit.cli.site_input import first_day, site_from
from linkfit.errors import InputError

if TYPE_CHECKING:
    from linkfit.link.model import LinkModel
    from linkfit.report.page.answers import Answers
    from linkfit.report.page.inputs import Inputs
    from linkfit.site.model import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A site, a link, and the inputs that make the same report again."""

    site: "Site"
    link: "LinkModel"
    inputs: "Inputs"

    def since(self, earlier: "Answers | None") -> "Asked":
        """The same, with what changed since `earlier`."""
        if earlier is None:
            return self
        return replace(self, inputs=replace(self.inputs, earlier=earlier))


def earlier_answers(page: str | None) -> "Answers | None":
    """The answers of the report in `page`, refused before any work is done; None without one."""
    if page is None:
        return None
    from linkfit.report.page.earlier import read_earlier

    return read_earlier(page)


def ask_of(
    site_path: str | None,
    given: TraceInput,
    quick: QuickNumbers,
    *,
    settings: Sequence[str] | None,
    start: str | None,
    seed: int,
) -> Asked:
    """A report of a site file and measurements."""
    if site_path is None:
        raise InputError("SITE: expected a site file, got nothing; or give --from PAGE")
    if site_path == "-":
        return _asked(sys.stdin.read(), given, quick, settings=settings, start=start, seed=seed)
    site_from(site_path, given.paths, settings)  # a bad file is told by its own name
    text = Path(site_path).read_text(encoding="utf-8-sig")
    return _asked(text, given, quick, settings=settings, start=start, seed=seed)


def _asked(
    text: str,
    given: TraceInput,
    quick: QuickNumbers,
    *,
    settings: Sequence[str] | None,
    start: str | None,
    seed: int,
) -> Asked:
    from linkfit.site.file import parse_site

    chosen = tuple(settings or ())
    site = parse_site(text, source="stdin", settings=chosen)
    link = link_from(_in_zone(given, site), quick, seed=seed, families=True)
    day = first_day(start, site, date.today())  # the user's own calendar
    return _with_inputs(site, link, text, chosen, seed, day)


def _in_zone(given: TraceInput, site: "Site") -> TraceInput:
    return given if given.timezone else replace(given, timezone=site.timezone)


def _with_inputs(
    site: "Site",
    link: "LinkModel",
    text: str,
    settings: tuple[str, ...],
    seed: int,
    start: date | None,
) -> Asked:
    inputs = inputs_for(link, text, settings=settings, seed=seed, start=start)
    return Asked(site=site, link=link, inputs=inputs)


def inputs_for(
    link: "LinkModel",
    text: str,
    *,
    settings: tuple[str, ...] = (),
    seed: int,
    start: date | None,
) -> "Inputs":
    """The inputs of a report that this release makes."""
    from linkfit.report.page.inputs import inputs_of

    return inputs_of(
        link, site_text=text, settings=settings, seed=seed, start=start, version=version("linkfit")
    )


def ask_again(
    page: str,
    site_path: str | None,
    given: TraceInput,
    quick: QuickNumbers,
    *,
    settings: Sequence[str] | None,
    start: str | None,
    seed: int,
) -> Asked:
    """The report of an earlier page; the link is needed only where the page does not hold it."""
    from linkfit.report.page.inputs import check_same_link, read_back

    links = given.paths or ((site_path,) if site_path else ())
    if settings or start is not None or seed or quick.given:
        raise InputError(
            "--from: expected no --set, --start, --seed or quick numbers beside it, since the page "
            "holds its own; leave them out, or give SITE and LINK instead of --from"
        )
    inputs, link = read_back(page)
    site = inputs.site()
    if link is None and not links:
        raise InputError(
            f"--from: expected LINK besides, since the link is too large for a page and {page} "
            "holds its hash alone; give the measurements or the fitted link"
        )
    if links:
        given = _in_zone(replace(given, paths=tuple(links)), site)
        link = link_from(given, quick, seed=inputs.seed, families=True)
        check_same_link(inputs, link)
    assert link is not None
    now = version("linkfit")
    if inputs.version != now:
        tell(f"note: the page was made by linkfit {inputs.version}, this is {now}: numbers may "
             "differ")  # fmt: skip
    again = _with_inputs(site, link, inputs.site_text, inputs.settings, inputs.seed, inputs.start)
    return replace(again, inputs=replace(again.inputs, earlier=inputs.earlier))
