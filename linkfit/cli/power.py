"""``linkfit power``: hours a day that battery and panel carry, and what a GB costs them."""

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
    Timezone,
    Units,
    Up,
)


def power(
    site: SiteFile,
    links: LinkFiles = None,
    month: Annotated[
        str | None, typer.Option(help="Only this month: december or 12.")
    ] = None,
    battery: Annotated[str | None, typer.Option(help='Another battery, "640 Wh".')] = None,
    load: Annotated[str | None, typer.Option(help='Another mean draw, "13 W".')] = None,
    panel: Annotated[str | None, typer.Option(help='Another panel, "120 W".')] = None,
    down: Down = None,
    up: Up = None,
    rtt: Rtt = None,
    direction: Direction = None,
    columns: Columns = None,
    units: Units = None,
    timezone: Timezone = None,
    seed: Seed = 0,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Hours up a day by battery and panel.

    Of SITE's [power], by month where its sun is known by month; with the link also the energy
    that a GB costs. The link may be left out.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.power_input import asked_power, power_answer
    from linkfit.cli.site_input import site_from
    from linkfit.report.power_text import power_text

    given = site_from(site, tuple(links or ()))
    found = asked_power(given, battery=battery, load=load, panel=panel)
    quick, link = QuickNumbers(down=down, up=up, rtt=rtt), None
    if links or quick.given:
        files = trace_input(links, direction, columns, units, timezone or given.timezone)
        link = link_from(files, quick, seed=seed)
    with working_on("adding up sun and load"):
        record = power_answer(given, found, link, month=month, seed=seed)
    if as_json:
        show_json(record)
    else:
        show(*power_text(record))
