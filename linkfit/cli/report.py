"""``linkfit report``: the capacity report as a page, PDF, Markdown or figures alone."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    Columns,
    Direction,
    Down,
    LinkFiles,
    Rtt,
    Seed,
    Settings,
    Start,
    Timezone,
    Units,
    Up,
)


def report(
    site: Annotated[
        str | None,
        typer.Argument(metavar="[SITE]", help="Site file (TOML); leave it out with --from."),
    ] = None,
    links: LinkFiles = None,
    output: Annotated[
        list[str] | None,
        typer.Option("--output", "-o", metavar="FILE",
                     help="report.html, report.pdf or report.md, by its ending; again for each."),
    ] = None,
    figures: Annotated[
        str | None,
        typer.Option("--figures", metavar="DIR", help="Figures alone, as SVG and PNG."),
    ] = None,
    from_page: Annotated[
        str | None,
        typer.Option("--from", metavar="PAGE", help="Make the report of this page again."),
    ] = None,
    earlier: Annotated[
        str | None,
        typer.Option("--earlier", metavar="PAGE",
                     help="Say what changed since this earlier report."),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Put the new files in the place of old ones.")
    ] = False,
    start: Start = None,
    settings: Settings = None,
    down: Down = None,
    up: Up = None,
    rtt: Rtt = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    seed: Seed = 0,
) -> None:  # fmt: skip
    """The capacity report: answers, evidence, inputs.

    One page that needs no network (HTML), the same as PDF or Markdown, or its figures alone.

    Ends with 0 once it is written, whatever it says of the site.
    """
    from linkfit.cli.link_input import QuickNumbers, trace_input
    from linkfit.cli.report_files import Targets, write_report
    from linkfit.cli.report_input import ask_again, ask_of, earlier_answers

    before = earlier_answers(earlier)
    targets = Targets.of(output, figures, replace=replace)
    given = trace_input(links, direction, columns, units, timezone or "")
    quick = QuickNumbers(down=down, up=up, rtt=rtt)
    if from_page is not None:
        asked = ask_again(from_page, site, given, quick, settings=settings, start=start, seed=seed)
    else:
        asked = ask_of(site, given, quick, settings=settings, start=start, seed=seed)
    write_report(asked.since(before), targets)
