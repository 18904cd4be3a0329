"""``linkfit backlog``: when the backlogs of a site are done."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    Down,
    LinkFiles,
    Rtt,
    Seed,
    SiteFile,
    Start,
    Timezone,
    Units,
    Up,
)


def backlog(
    site: SiteFile,
    links: LinkFiles = None,
    name: Annotated[str | None, typer.Option(help="Only the backlog of this name.")] = None,
    start: Start = None,
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
    """When backlogs are done, and what holds them.

    SITE says what waits; services of the site go first.
    """
    from datetime import date

    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import chosen_backlogs, first_day, site_from
    from linkfit.forecast.backlog import forecast_backlog
    from linkfit.report.backlog_json import backlog_record
    from linkfit.report.backlog_text import backlogs_text

    given = site_from(site, tuple(links or ()))
    chosen = chosen_backlogs(given, name)
    link = link_from(
        trace_input(links, direction, columns, units, timezone or given.timezone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    day = first_day(start, given, date.today())
    with working_on("draining backlogs"):
        found = [forecast_backlog(given, b, link, seed=seed, start=day) for b in chosen]
    records = [backlog_record(forecast) for forecast in found]
    if as_json:
        show_json({"schema": "linkfit/backlog/1", "seed": seed, "backlogs": records})
    else:
        show(*backlogs_text(records))
