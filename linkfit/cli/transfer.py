"""``linkfit transfer``: how long one payload takes."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

import typer

from linkfit.cli.moments import RecentAge
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
from linkfit.errors import InputError


def transfer(
    size: Annotated[str, typer.Option(help='Payload of each request, for example "4 MB".')],
    flow: Annotated[
        str,
        typer.Option(help="out: the server sends (link up); in: it receives (link down)."),
    ],
    links: LinkFiles = None,
    tls: Annotated[bool, typer.Option(help="With a new TLS 1.3 connection.")] = True,
    relay_rtt: Annotated[
        str, typer.Option(help='Round trip to the relay beyond the link, "18 ms".')
    ] = "0 s",
    quic: Annotated[
        bool, typer.Option("--quic", help="By QUIC, which encrypts by itself, not TCP.")
    ] = False,
    congestion: Annotated[
        str, typer.Option(help="How the sender chooses its rate: cubic, reno or bbr.")
    ] = "cubic",
    loss: Annotated[
        str, typer.Option(help='Packets lost by chance, apart from full queues, "1 %".')
    ] = "0 %",
    hold: Annotated[
        str | None,
        typer.Option(help='The modem throws away what waits longer than this, "1.5 s".'),
    ] = None,
    handshake: Annotated[
        int | None,
        typer.Option(
            min=0,
            help="Round trips before the first request: 0 on a connection that stands, 3 with "
            "TLS 1.2. 2 with TLS 1.3, 1 with QUIC or --no-tls if left out.",
            show_default=False,
        ),
    ] = None,
    requests: Annotated[
        int, typer.Option(min=1, help="Payloads on one connection: 60 pictures of a page.")
    ] = 1,
    parallel: Annotated[
        int, typer.Option(min=1, help="Requests under way at once; common for a page: 6.")
    ] = 1,
    pause: Annotated[str, typer.Option(help='From an answer to the next request, "2 s".')] = "0 s",
    server_time: Annotated[
        str, typer.Option(help='The far end\'s own time for each request, "200 ms".')
    ] = "0 s",
    answer: Annotated[
        str, typer.Option(help='Sent back the other way after each payload, "2 kB".')
    ] = "0 B",
    by: Annotated[
        str | None, typer.Option(help='Tell the chance to end within this time, "15m".')
    ] = None,
    at: Annotated[
        str | None, typer.Option(help='Start at this hour of the local day, "20:00".')
    ] = None,
    recent: Annotated[
        str | None,
        typer.Option(
            metavar="FILE",
            help="Start now: a trace file of the link's last minutes, the same direction busy.",
        ),
    ] = None,
    recent_age: RecentAge = "0 s",
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
    """Time for one payload over the link, or for many on one connection.

    The median, the 5th and 95th percentile, how sure each is, and what makes them wide. At any
    moment that was measured, or from now on (--recent), or at an hour (--at).

    The flow is said from the server's side, and so is the link: up is from the server towards
    the internet.
    """
    from linkfit.cli.console import show, show_json, working_on
    from linkfit.cli.link_input import QuickNumbers, link_from, trace_input
    from linkfit.cli.moments import hour_of_day, recent_trace
    from linkfit.forecast.overhead import tls_payload_bytes
    from linkfit.forecast.transfer import predict_transfer
    from linkfit.forecast.transfer_cautions import transfer_cautions
    from linkfit.report.transfer_json import transfer_record
    from linkfit.report.transfer_text import transfer_text
    from linkfit.report.wording import flow_direction
    from linkfit.units import parse_duration_s

    size_bytes = _size_bytes(size)
    link_direction = flow_direction(flow)
    task = _task(requests, parallel, pause, server_time, answer, quic=quic)
    task |= {"congestion": congestion, "loss_frac": _share(loss)}
    task |= {"hold_s": None if hold is None else parse_duration_s(hold, where="--hold")}
    relay_rtt_s = parse_duration_s(relay_rtt, where="--relay-rtt")
    recent_age_s = parse_duration_s(recent_age, where="--recent-age")
    by_s = None if by is None else parse_duration_s(by, where="--by")
    hour = None if at is None else hour_of_day(at)
    files = trace_input(links, direction, columns, units, timezone or "UTC")
    latest = None if recent is None else recent_trace(recent, files)
    link = link_from(files, QuickNumbers(down=down, up=up, rtt=rtt), seed=seed)
    records = tls and not quic
    with working_on("drawing possible futures"), _told_by_option():
        forecast = predict_transfer(
            link,
            size_bytes=float(tls_payload_bytes(size_bytes)) if records else size_bytes,
            direction=link_direction,
            seed=seed,
            handshake_round_trips=1 + int(records) if handshake is None else handshake,
            relay_rtt_s=relay_rtt_s,
            hour=hour,
            recent=latest,
            recent_age_s=recent_age_s,
            usual_rtt=True,
            width=True,
            **task,
        )
    cautions = transfer_cautions(
        link, forecast, direction=link_direction, hour=hour, rtt_assumed=link.latency is None
    )
    said: dict[str, Any] = {
        "size_bytes": size_bytes, "flow": flow, "by_s": by_s, "hour": hour, "task": task,
        "starts_now": recent is not None, "cautions": cautions,
    }  # fmt: skip
    if as_json:
        show_json(transfer_record(forecast, seed=seed, **said))
    else:
        show(*transfer_text(forecast, **said))


_OPTION_OF = {
    "size_bytes": "--size", "recent": "--recent", "congestion": "--congestion",
    "loss_frac": "--loss", "hold_s": "--hold",
}  # fmt: skip


@contextmanager
def _told_by_option() -> Iterator[None]:
    """What the forecast says of an argument is said of the option that gave it."""
    try:
        yield
    except InputError as error:
        name, colon, rest = str(error).partition(":")
        option = _OPTION_OF.get(name, name)
        raise InputError(f"{option}{colon}{rest}") from error


def _size_bytes(text: str) -> float:
    """A payload of something. [bytes]"""
    from linkfit._checks import positive
    from linkfit.units import parse_size_bytes

    return positive("--size", parse_size_bytes(text, where="--size"))


def _task(
    requests: int, parallel: int, pause: str, server_time: str, answer: str, *, quic: bool
) -> dict[str, Any]:
    """How the payload is asked for, by the names of `predict_transfer`."""
    from linkfit.units import parse_duration_s, parse_size_bytes

    return {
        "n_requests": requests,
        "n_parallel": parallel,
        "pause_s": parse_duration_s(pause, where="--pause"),
        "server_time_s": parse_duration_s(server_time, where="--server-time"),
        "answer_bytes": parse_size_bytes(answer, where="--answer"),
        "transport": "quic" if quic else "tcp",
    }


def _share(text: str) -> float:
    """Share of packets, of ``"1 %"``. [fraction]"""
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*%", text.strip())
    percent = float(match[1]) if match else 100.0
    if percent >= 100:
        raise InputError(f"--loss: expected a share below 100 %, got {text!r}; write '1 %'")
    return percent / 100
