"""``linkfit transfer``: how long one payload takes."""

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


def transfer(
    size: Annotated[str, typer.Option(help='Payload, for example "4 MB".')],
    flow: Annotated[
        str,
        typer.Option(help="out: the server sends (link up); in: it receives (link down)."),
    ],
    links: LinkFiles = None,
    tls: Annotated[bool, typer.Option(help="With a new TLS 1.3 connection.")] = True,
    relay_rtt: Annotated[
        str, typer.Option(help='Round trip to the relay beyond the link, "18 ms".')
    ] = "0 s",
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
    """Time for one payload over the link.

    The median, the 5th and 95th percentile, and how sure each is.

    The flow is said from the server's side, and so is the link: up is from the server towards
    the internet.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.forecast.overhead import tls_payload_bytes
    from linkfit.forecast.transfer import predict_transfer
    from linkfit.report.transfer_json import transfer_record
    from linkfit.report.transfer_text import transfer_text
    from linkfit.report.wording import flow_direction
    from linkfit.units import parse_duration_s, parse_size_bytes

    size_bytes = parse_size_bytes(size, where="--size")
    link_direction = flow_direction(flow)
    relay_rtt_s = parse_duration_s(relay_rtt, where="--relay-rtt")
    link = link_from(
        trace_input(links, direction, columns, units, timezone or "UTC"),
        QuickNumbers(down=down, up=up, rtt=rtt),
        seed=seed,
    )
    with working_on("drawing possible futures"):
        forecast = predict_transfer(
            link,
            size_bytes=float(tls_payload_bytes(size_bytes)) if tls else size_bytes,
            direction=link_direction,
            seed=seed,
            handshake_round_trips=2 if tls else 1,
            relay_rtt_s=relay_rtt_s,
        )
    if as_json:
        show_json(transfer_record(forecast, size_bytes=size_bytes, flow=flow, seed=seed))
    else:
        show(*transfer_text(forecast, size_bytes=size_bytes, flow=flow))
