"""``linkfit capacity``: how many bits a second the link really carries."""

from typing import Annotated

import typer

from linkfit.cli.moments import At, Recent, RecentAge
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


def capacity(
    links: LinkFiles = None,
    at: At = None,
    recent: Recent = None,
    recent_age: RecentAge = "0 s",
    below: Annotated[
        str | None, typer.Option(help='Tell the share of moments below this rate, "1 Mbit/s".')
    ] = None,
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
    """What the link really carries, each way.

    Averages over 1 s to 30 min at any time, in its slowest measured hour, and on request now
    (--recent) or at an hour (--at); its outages; and what was not measured.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.moments import hour_of_day, recent_trace
    from linkfit.forecast.capacity import forecast_capacity
    from linkfit.report.capacity_json import capacity_record
    from linkfit.report.capacity_text import capacity_text
    from linkfit.units import parse_duration_s, parse_rate_bps

    hour = None if at is None else hour_of_day(at)
    age_s = parse_duration_s(recent_age, where="--recent-age")
    below_bps = None if below is None else parse_rate_bps(below, where="--below")
    files = trace_input(links, direction, columns, units, timezone or "UTC")
    last_minutes = None if recent is None else recent_trace(recent, files)
    link = link_from(files, QuickNumbers(down=down, up=up, rtt=rtt), seed=seed)
    with working_on("drawing possible futures"):
        found = forecast_capacity(
            link, hour=hour, recent=last_minutes, recent_age_s=age_s, below_bps=below_bps, seed=seed
        )
    if as_json:
        show_json(capacity_record(found, seed=seed))
    else:
        show(*capacity_text(found))
