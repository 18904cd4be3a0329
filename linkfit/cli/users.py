"""``linkfit users``: how many people a service bears before the busy hour gets slow."""

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
    Settings,
    SiteFile,
    Timezone,
    Units,
    Up,
)


def users(
    site: SiteFile,
    links: LinkFiles = None,
    service: Annotated[
        str | None, typer.Option(help="Only this service, with the time against its users.")
    ] = None,
    task: Annotated[str | None, typer.Option(help="Only the task of this name.")] = None,
    up_to: Annotated[
        int, typer.Option(min=1, max=1000, help="Largest number of users on the curve.")
    ] = 60,
    at: Annotated[
        str | None,
        typer.Option(help='Local hour, "20:00"; the slowest one measured if left out.'),
    ] = None,
    settings: Settings = None,
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
    """How many users before it gets slow.

    For each service of SITE: the largest number of users with which the busy hour stays within
    its targets, and the direction of the link that they fill first.
    """
    from linkfit.cli.backlog_input import start_hour
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.users import forecast_users
    from linkfit.report.users_json import users_record
    from linkfit.report.users_text import users_text

    given = site_from(site, tuple(links or ()), settings)
    link = link_from(
        trace_input(links, direction, columns, units, timezone or given.timezone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    hour = None if at is None else start_hour(at, None)
    with working_on("adding users"):
        found = forecast_users(
            given, link, service=service, task=task, up_to=up_to, seed=seed, hour=hour
        )
    record = users_record(found)
    if as_json:
        show_json(record)
    else:
        show(*users_text(record))
