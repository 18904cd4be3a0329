"""``linkfit interactive``: typing, pages and calls beside a backup, and the limit to set for it."""

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
    Timezone,
    Units,
    Up,
)


def interactive(
    links: LinkFiles = None,
    site: Annotated[
        str | None,
        typer.Option(help="Site file: its relay, tunnel, slowest hour and usual traffic count."),
    ] = None,
    upload_limit: Annotated[
        str | None,
        typer.Option(help='Rate limit to judge, "2 Mbit/s"; the largest that helps if left out.'),
    ] = None,
    echo_within: Annotated[
        str, typer.Option(help="Time that a key may take to show in a remote shell.")
    ] = "250 ms",
    buffer: Annotated[
        str | None,
        typer.Option(help='Buffer before the link, "300 kB"; as measured if left out.'),
    ] = None,
    chance: Annotated[
        float, typer.Option(min=0.5, max=0.999, help="Share of moments that a limit must keep.")
    ] = 0.95,
    sync: Annotated[str, typer.Option(help="Size of the backup whose time is told.")] = "1 GB",
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
    """Typing, pages and calls beside a backup.

    While nothing else is sent, while a backup or sync sends all it can, and while it runs under
    a rate limit; and the largest limit that keeps each of them good.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.interactive_forecast import forecast_interactive
    from linkfit.report.interactive_json import interactive_record
    from linkfit.report.interactive_text import interactive_text
    from linkfit.units import parse_duration_s, parse_rate_bps, parse_size_bytes

    within_s = parse_duration_s(echo_within, where="--echo-within")
    buffer_bytes = None if buffer is None else parse_size_bytes(buffer, where="--buffer")
    sync_bytes = parse_size_bytes(sync, where="--sync")
    limit_bps = None
    if upload_limit is not None:
        limit_bps = parse_rate_bps(upload_limit, where="--upload-limit")
    given = None if site is None else site_from(site, tuple(links or ()))
    zone = timezone or ("UTC" if given is None else given.timezone)
    link = link_from(
        trace_input(links, direction, columns, units, zone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    with working_on("watching the queue"):
        found = forecast_interactive(
            link,
            site=given,
            upload_limit_bps=limit_bps,
            echo_within_s=within_s,
            buffer_bytes=buffer_bytes,
            wanted_prob=chance,
            sync_bytes=sync_bytes,
            seed=seed,
        )
    if as_json:
        show_json(interactive_record(found, seed=seed))
    else:
        show(*interactive_text(found))
