"""``linkfit compare``: which link serves a site better, and is the difference real?"""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    FiguresFolder,
    Seed,
    Settings,
    Start,
    Timezone,
    Units,
)


def compare(
    links: Annotated[
        list[str],
        typer.Argument(
            metavar="LINK LINK...",
            help="Each a trace file, a folder of them, or a fitted link.json. The first is what "
            "the others are compared with.",
        ),
    ],
    sites: Annotated[
        list[str] | None,
        typer.Option("--site", metavar="SITE", help="Site file; again for each link where plans "
                     "differ."),
    ] = None,
    names: Annotated[
        list[str] | None,
        typer.Option("--name", metavar="NAME", help="What to call a link; again for each."),
    ] = None,
    prices: Annotated[
        list[str] | None,
        typer.Option("--price", metavar="NAME=MONEY", help="What a link costs a month; again for "
                     "each."),
    ] = None,
    split: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="Compare one link before and from this day: 2026-07-01; "
                     "all LINKs are its traces."),
    ] = None,
    halves: Annotated[
        bool,
        typer.Option("--halves", help="Compare the first half of one link's traces with the rest."),
    ] = False,
    figures: FiguresFolder = None,
    start: Start = None,
    settings: Settings = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Which link, plan, place or time serves better, and is the difference real.

    Tells rates each way and, with --site, which services change their verdict, the time of each
    task and the chance that a link misses the targets least; whether a difference is more than
    one link shows from one day to the next; and what to measure where it is not.
    """
    from datetime import date

    from linkfit.advice.comparison import compare_links
    from linkfit.cli.compare_input import Asked, first_day, named_links
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.figures import write_comparison
    from linkfit.cli.link_input import trace_input
    from linkfit.cli.site_input import site_from
    from linkfit.report.compare_json import compare_record
    from linkfit.report.compare_text import compare_text

    given = [site_from(site, tuple(links), settings) for site in sites or ()]
    zone = timezone or (given[0].timezone if given else "UTC")
    asked = Asked(names=tuple(names or ()), prices=tuple(prices or ()), split=split,
                  halves=halves, seed=seed)  # fmt: skip
    named = named_links(trace_input(links, direction, columns, units, zone), given, asked)
    with working_on("comparing"):
        found = compare_links(named, seed=seed, start=first_day(start, given, date.today()))
        record = compare_record(found)
    if as_json:
        show_json(record)
    else:
        show(*compare_text(record))
    if figures is not None:
        write_comparison(found, figures)
