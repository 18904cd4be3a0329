"""``linkfit streams``: what plays without a stall, how many at once, and cameras under the plan."""

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


def streams(
    links: LinkFiles = None,
    site: Annotated[
        str | None,
        typer.Option(help="Site file: its plan, tunnel, slowest hour and other traffic count."),
    ] = None,
    cap: Annotated[
        str | None, typer.Option(help='Plan of a month, "60 GB", if not the site\'s.')
    ] = None,
    session: Annotated[str, typer.Option(help="Length of a film.")] = "40 min",
    look: Annotated[str, typer.Option(help="Length of a look at a camera.")] = "5 min",
    chance: Annotated[
        float, typer.Option(min=0.5, max=0.999, help="Share of sessions that must be good.")
    ] = 0.95,
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
    """Films and live cameras that the server sends.

    The chance of a stall and the time to the first picture at each usual rate, how many can be
    watched at once, and how many minutes a month the plan leaves a camera.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.stream_forecast import forecast_streams
    from linkfit.report.streams_json import streams_record
    from linkfit.report.streams_text import streams_text
    from linkfit.units import parse_duration_s, parse_size_bytes

    session_s = parse_duration_s(session, where="--session")
    look_s = parse_duration_s(look, where="--look")
    cap_bytes = None if cap is None else parse_size_bytes(cap, where="--cap")
    given = None if site is None else site_from(site, tuple(links or ()))
    zone = timezone or ("UTC" if given is None else given.timezone)
    link = link_from(
        trace_input(links, direction, columns, units, zone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    with working_on("playing streams"):
        found = forecast_streams(
            link,
            site=given,
            cap_bytes=cap_bytes,
            wanted_prob=chance,
            session_s=session_s,
            live_session_s=look_s,
            seed=seed,
        )
    if as_json:
        show_json(streams_record(found, seed=seed))
    else:
        show(*streams_text(found))
