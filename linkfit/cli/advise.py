"""``linkfit advise``: which services fit, what to change, data use, backlogs."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    Down,
    FiguresFolder,
    LinkFiles,
    Rtt,
    Seed,
    Settings,
    SiteFile,
    Start,
    Timezone,
    Units,
    Up,
)

Emit = Annotated[
    str | None,
    typer.Option(
        metavar="DIR",
        help="Write the chosen settings there as snippets to review; - for stdout.",
    ),
]


def advise(
    site: SiteFile,
    links: LinkFiles = None,
    figures: FiguresFolder = None,
    start: Start = None,
    settings: Settings = None,
    emit: Emit = None,
    down: Down = None,
    up: Up = None,
    rtt: Rtt = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:
    """Which services fit, and what to change.

    Judges every service of SITE on the link, finds the changes that make it fit, and tells
    data use, backlogs and what was not measured.

    Ends with exit code 4, the result still on stdout, when no setting meets all targets.
    """
    from datetime import date

    from linkfit.advice.advise import advise as find_advice
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import first_day, site_from
    from linkfit.errors import InfeasibleError
    from linkfit.report.advice_json import advice_record
    from linkfit.report.advice_text import advice_text

    given = site_from(site, tuple(links or ()), settings)
    link = link_from(
        trace_input(links, direction, columns, units, timezone or given.timezone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    day = first_day(start, given, date.today())  # the user's own calendar
    with working_on("judging services and looking for changes"):
        advice = find_advice(given, link, seed=seed, start=day)
        record = advice_record(advice, link)
    if as_json:
        show_json(record)
    else:
        show(*advice_text(record))
    if figures is not None:
        from linkfit.cli.figures import write_advice

        write_advice(advice, figures)
    if emit is not None:
        from linkfit.cli.snippets import write_snippets

        write_snippets(advice, emit)
    if not advice.feasible:
        raise typer.Exit(InfeasibleError.exit_code)
