"""``linkfit uploads``: in which pieces, how many at once, with which timeouts."""

from typing import TYPE_CHECKING, Annotated, Any

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

if TYPE_CHECKING:
    from linkfit.forecast.upload_ask import UploadAsk


def uploads(
    size: Annotated[str, typer.Option(help='Payload of one item, for example "2 GB".')],
    links: LinkFiles = None,
    items: Annotated[int, typer.Option(min=1, help="How many items there are.")] = 20,
    flow: Annotated[
        str,
        typer.Option(help="out: the server sends (link up); in: it receives (link down)."),
    ] = "out",
    body_limit: Annotated[
        str | None, typer.Option(help='Largest request the path carries, "100 MB".')
    ] = None,
    idle_timeout: Annotated[
        str | None,
        typer.Option(help='Silence that breaks a connection, "100 s"; 60 s if nobody says it.'),
    ] = None,
    total_timeout: Annotated[
        str | None, typer.Option(help='Longest time of one request, "5 min".')
    ] = None,
    drops_per_day: Annotated[
        float, typer.Option(min=0, help="Breaks a day besides outages, as you counted them.")
    ] = 0.0,
    remote_rate: Annotated[
        str | None, typer.Option(help='The far end\'s own limit, "8 Mbit/s".')
    ] = None,
    per_connection: Annotated[
        str | None, typer.Option(help='What one connection reaches at most, "3 Mbit/s".')
    ] = None,
    per_item: Annotated[
        str, typer.Option(help='What each item costs besides its bytes, "0.5 s".')
    ] = "0 s",
    same_link_share: Annotated[
        float | None,
        typer.Option(
            min=0,
            max=1,
            help="Share of items from clients on the same link, which by "
            "the public name cross it both ways; the site's, else 0.",
        ),
    ] = None,
    chunk: Annotated[
        str | None, typer.Option(help='The piece that your client sends, "5 MB".')
    ] = None,
    whole: Annotated[bool, typer.Option("--whole", help="The client sends items whole.")] = False,
    site: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Site file: limits of its path, its hours' ends."),
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
    """Large and many files: what gets through.

    Chance, time and waste of a whole item and of pieces; the size of a piece, how many uploads
    at once, which timeouts. The flow is said from the server's side.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.forecast.uploads import forecast_uploads
    from linkfit.report.uploads_json import uploads_record
    from linkfit.report.uploads_text import uploads_text

    texts = {
        "size_bytes": ("--size", size), "body_limit_bytes": ("--body-limit", body_limit),
        "idle_timeout_s": ("--idle-timeout", idle_timeout),
        "total_timeout_s": ("--total-timeout", total_timeout),
        "remote_rate_bps": ("--remote-rate", remote_rate), "chunk_bytes": ("--chunk", chunk),
        "lane_limit_bps": ("--per-connection", per_connection),
        "per_item_s": ("--per-item", per_item),
    }  # fmt: skip
    counts = {"n_items": items, "flow": flow, "drops_per_day": drops_per_day, "whole": whole}
    if same_link_share is not None:
        counts["same_link_share_frac"] = same_link_share
    ask, zone = _ask(texts, counts, site, tuple(links or ()))
    link = link_from(
        trace_input(links, direction, columns, units, timezone or zone),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    with working_on("sending in possible futures"):
        forecast = forecast_uploads(link, ask, seed=seed)
    if as_json:
        show_json(uploads_record(forecast, seed=seed))
    else:
        show(*uploads_text(forecast))


def _ask(
    texts: dict[str, tuple[str, str | None]],
    counts: dict[str, Any],
    site_path: str | None,
    link_paths: tuple[str, ...],
) -> "tuple[UploadAsk, str]":
    """The question, with the site's limits where no option says otherwise, and its zone."""
    from linkfit.cli.site_input import site_from
    from linkfit.forecast.upload_ask import UploadAsk, site_limits
    from linkfit.units import parse_duration_s, parse_rate_bps, parse_size_bytes

    readers = {"bytes": parse_size_bytes, "s": parse_duration_s, "bps": parse_rate_bps}
    said = {
        name: readers[name.rsplit("_", 1)[-1]](text, where=option)
        for name, (option, text) in texts.items()
        if text is not None
    }
    limits: dict[str, Any] = {}
    zone = "UTC"
    if site_path is not None:
        site = site_from(site_path, link_paths)
        limits, zone = site_limits(site, counts["flow"]), site.timezone
        counts = counts | {"drops_per_day": counts["drops_per_day"] + limits.pop("drops_per_day")}
    return UploadAsk(**(limits | counts | said)), zone
