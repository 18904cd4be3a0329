"""``linkfit backlog``: when what waits is done, of a site file or said with options."""

from typing import Annotated

import typer

from linkfit.cli.options import (
    AsJson,
    Columns,
    Direction,
    Down,
    Rtt,
    Seed,
    Start,
    Timezone,
    Units,
    Up,
)

Paths = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="SITE LINK",
        help="Site file (TOML), left out with --items; then the link: trace files, a folder of "
        "them, a fitted link.json, - for stdin, or none of it with --down, --up, --rtt.",
        show_default=False,
    ),
]


def backlog(
    paths: Paths = None,
    name: Annotated[str | None, typer.Option(help="Only the backlog of this name.")] = None,
    items: Annotated[
        int | None, typer.Option(min=1, help="Without SITE: so many items wait.")
    ] = None,
    size: Annotated[str | None, typer.Option(help='With --items: of each, "3.5 MB".')] = None,
    flow: Annotated[
        str | None,
        typer.Option(help="With --items. out: the server sends (link up); in: it receives."),
    ] = None,
    per_item: Annotated[
        str | None, typer.Option(help='Fixed cost of each item, "0.5 s".')
    ] = None,
    cap: Annotated[str | None, typer.Option(help='Data plan of a cycle, "60 GB".')] = None,
    used: Annotated[
        str | None, typer.Option(help='Data that the running cycle has used so far, "31 GB".')
    ] = None,
    window: Annotated[
        str | None, typer.Option(help='It runs in these local hours only, "23:00-05:00".')
    ] = None,
    within: Annotated[
        str | None,
        typer.Option(help='Chance to be done within "6 h" of the start, else in how many days '
                     "of so many hours."),
    ] = None,
    wait_for: Annotated[
        str | None,
        typer.Option(help='Compare with waiting for these local hours, "23:00-05:00".'),
    ] = None,
    start: Start = None,
    at: Annotated[
        str | None, typer.Option(help='Local hour of the start, "20:00"; else --window\'s, or 0.')
    ] = None,
    deadline: Annotated[
        str | None, typer.Option(metavar="DAY", help="Last day, 2026-07-31.")
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
) -> None:  # fmt: skip
    """When backlogs are done, and what holds them.

    SITE says what waits, or --items, --size and --flow do; services of the site go first.
    """
    from datetime import date

    from linkfit.cli.backlog_input import (
        BacklogOptions,
        asked_backlogs,
        night_length_h,
        read_window,
        start_hour,
    )
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.site_input import first_day
    from linkfit.forecast.nights import answer_backlog
    from linkfit.report.backlog_json import answer_record
    from linkfit.report.backlog_text import answers_text
    from linkfit.units import parse_size_bytes

    site, chosen, files = asked_backlogs(
        BacklogOptions(
            paths=tuple(paths or ()), name=name, items=items, size=size, flow=flow,
            per_item=per_item, window=window, cap=cap, deadline=deadline, timezone=timezone,
        )
    )  # fmt: skip
    start_h, night_h = start_hour(at, window), night_length_h(within, window)
    used_bytes = None if used is None else parse_size_bytes(used, where="--used")
    wait = None if wait_for is None else read_window("--wait-for", wait_for)
    link = link_from(
        trace_input(list(files), direction, columns, units, timezone or site.timezone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    day = first_day(start, site, date.today())
    with working_on("draining backlogs"):
        answers = [
            answer_backlog(site, one, link, seed=seed, start=day, start_h=start_h,
                           night_h=night_h, wait_for=wait, used_bytes=used_bytes)
            for one in chosen
        ]  # fmt: skip
    records = [answer_record(one) for one in answers]
    if as_json:
        show_json({"schema": "linkfit/backlog/1", "seed": seed, "backlogs": records})
    else:
        show(*answers_text(records))
